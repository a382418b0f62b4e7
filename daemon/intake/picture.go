package intake

import (
	"bytes"
	"image"
	"image/jpeg"
	_ "image/png" // pictures may be PNG
	"io"
	"os"

	"golang.org/x/image/draw"

	"linecamp/daemon/intake/sky"
	"linecamp/manifest/facts"
)

const (
	thumbSize  = 320       // longer side, pixels
	mostPixels = 200 << 20 // of a picture that is decoded
	lookSize   = 640       // longer side of what is looked at
)

// picture looks at one picture: whether it shows sky and, if asked for, a small
// JPEG of it. What cannot be decoded, such as HEIC and raw, is sky.Unsure.
func picture(file string, orientation int, small bool) (look string, thumb []byte) {
	look = sky.Unsure
	defer func() {
		if recover() != nil { // a decoder that trips over hostile bytes
			look, thumb = sky.Unsure, nil
		}
	}()
	f, err := os.OpenFile(file, openFlags, 0)
	if err != nil {
		return
	}
	defer f.Close()
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
		return
	}
	c, _, err := image.DecodeConfig(f)
	if err != nil || c.Width <= 0 || c.Height <= 0 || c.Width > mostPixels/c.Height {
		return
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return
	}
	m, _, err := image.Decode(f)
	if err != nil {
		return
	}
	m = upright(shrunk(m, lookSize, draw.ApproxBiLinear), orientation)
	look = sky.Look(m)
	if small {
		var b bytes.Buffer
		if jpeg.Encode(&b, shrunk(m, thumbSize, draw.CatmullRom), &jpeg.Options{Quality: 78}) == nil {
			thumb = b.Bytes()
		}
	}
	return look, thumb
}

// shrunk makes a picture's longer side at most so long.
func shrunk(m image.Image, most int, how draw.Interpolator) *image.RGBA {
	b := m.Bounds()
	w, h := b.Dx(), b.Dy()
	if long := max(w, h); long > most {
		w, h = max(1, w*most/long), max(1, h*most/long)
	}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	how.Scale(out, out.Bounds(), m, b, draw.Src, nil)
	return out
}

// upright turns a picture as its Exif orientation says (CIPA DC-008, 4.6.5,
// Orientation).
func upright(m *image.RGBA, orientation int) *image.RGBA {
	w, h := m.Rect.Dx(), m.Rect.Dy()
	if orientation < 2 || orientation > 8 {
		return m
	}
	ow, oh := w, h
	if orientation >= 5 {
		ow, oh = h, w
	}
	out := image.NewRGBA(image.Rect(0, 0, ow, oh))
	for y := range h {
		for x := range w {
			tx, ty := facts.Upright(x, y, w, h, orientation)
			out.SetRGBA(tx, ty, m.RGBAAt(x, y))
		}
	}
	return out
}
