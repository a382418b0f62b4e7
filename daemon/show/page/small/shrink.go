package small

import (
	"image"
	"image/draw"

	"linecamp/manifest/facts"
)

// shrunk makes a picture's longer side at most so long: each pixel is the mean of
// the area it stands for. JPEGs stay in the colours they have.
func shrunk(m image.Image, most int) image.Image {
	b := m.Bounds()
	w, h := b.Dx(), b.Dy()
	if long := max(w, h); long > most {
		w, h = max(1, w*most/long), max(1, h*most/long)
	}
	switch m := m.(type) {
	case *image.YCbCr:
		out := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio420)
		at := m.YOffset(b.Min.X, b.Min.Y)
		average(plane{out.Y, out.YStride, w, h, 1}, plane{m.Y[at:], m.YStride, b.Dx(), b.Dy(), 1})
		at = m.COffset(b.Min.X, b.Min.Y)
		cw, ch := m.COffset(b.Max.X-1, b.Min.Y)-at+1, (m.COffset(b.Min.X, b.Max.Y-1)-at)/m.CStride+1
		average(plane{out.Cb, out.CStride, (w + 1) / 2, (h + 1) / 2, 1}, plane{m.Cb[at:], m.CStride, cw, ch, 1})
		average(plane{out.Cr, out.CStride, (w + 1) / 2, (h + 1) / 2, 1}, plane{m.Cr[at:], m.CStride, cw, ch, 1})
		return out
	case *image.Gray:
		out := image.NewGray(image.Rect(0, 0, w, h))
		average(plane{out.Pix, out.Stride, w, h, 1}, plane{m.Pix[m.PixOffset(b.Min.X, b.Min.Y):], m.Stride, b.Dx(), b.Dy(), 1})
		return out
	}
	return banded(m, w, h)
}

// banded shrinks any other picture, a band of it at a time in the colours of the
// screen. What can be seen through is shown on white.
func banded(m image.Image, w, h int) image.Image {
	b := m.Bounds()
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	band := image.NewRGBA(image.Rect(0, 0, b.Dx(), b.Dy()/h+2))
	for y := range h {
		top, bottom := y*b.Dy()/h, min(b.Dy(), ((y+1)*b.Dy()+h-1)/h)
		part := image.Rect(0, 0, b.Dx(), bottom-top)
		draw.Draw(band, part, image.White, image.Point{}, draw.Src)
		draw.Draw(band, part, m, b.Min.Add(image.Pt(0, top)), draw.Over)
		for c := range 4 {
			average(plane{out.Pix[y*out.Stride+c:], out.Stride, w, 1, 4}, plane{band.Pix[c:], band.Stride, b.Dx(), bottom - top, 4})
		}
	}
	return out
}

// plane is one colour of a picture; step is how far apart its samples are.
type plane struct {
	pix          []uint8
	stride, w, h int
	step         int
}

// average shrinks a plane: each sample of dst is the mean of the samples of src
// below it, those at its edges by the share that lies below it. Places in src are
// reckoned in 256ths of a sample.
func average(dst, src plane) {
	rows := make([]uint32, src.w) // one row of dst, summed up over its height
	cols := spans(dst.w, src.w)
	for y, s := range spans(dst.h, src.h) {
		clear(rows)
		for sy := s.first; sy <= s.last; sy++ {
			weight := s.weight(sy)
			line := src.pix[sy*src.stride:]
			if src.step == 1 {
				for x, v := range line[:src.w] {
					rows[x] += weight * uint32(v)
				}
				continue
			}
			for x := range rows {
				rows[x] += weight * uint32(line[x*src.step])
			}
		}
		out := dst.pix[y*dst.stride:]
		for x, c := range cols {
			sum := uint64(c.head) * uint64(rows[c.first])
			for _, v := range rows[min(c.first+1, c.last):c.last] {
				sum += 256 * uint64(v)
			}
			if c.last > c.first {
				sum += uint64(c.tail) * uint64(rows[c.last])
			}
			area := uint64(c.total) * uint64(s.total)
			out[x*dst.step] = uint8((sum + area/2) / area)
		}
	}
}

// span is the samples of src below one of dst, with the weight of the first and of
// the last one; those between count 256.
type span struct {
	first, last       int
	head, tail, total uint32
}

func (s span) weight(at int) uint32 {
	switch at {
	case s.first:
		return s.head
	case s.last:
		return s.tail
	}
	return 256
}

func spans(n, of int) []span {
	all := make([]span, n)
	for i := range all {
		from, to := i*of*256/n, (i+1)*of*256/n
		if to == from { // dst is larger than src
			to = from + 1
		}
		s := span{first: from / 256, last: (to - 1) / 256, total: uint32(to - from)}
		if s.first == s.last {
			s.head = s.total
		} else {
			s.head, s.tail = uint32(256-from%256), uint32((to-1)%256+1)
		}
		all[i] = s
	}
	return all
}

// upright turns a picture as its Exif orientation says (CIPA DC-008, 4.6.5,
// Orientation).
func upright(m image.Image, orientation int) image.Image {
	if orientation < 2 || orientation > 8 {
		return m
	}
	swap := orientation >= 5
	turned := func(r image.Rectangle) image.Rectangle {
		if swap {
			return image.Rect(0, 0, r.Dy(), r.Dx())
		}
		return image.Rect(0, 0, r.Dx(), r.Dy())
	}
	switch m := m.(type) {
	case *image.YCbCr:
		// The halved colors of an odd side turn to the other end, by half a pixel.
		out := image.NewYCbCr(turned(m.Rect), m.SubsampleRatio)
		w, h := m.Rect.Dx(), m.Rect.Dy()
		turn(out.Y, out.YStride, m.Y, m.YStride, w, h, 1, orientation)
		turn(out.Cb, out.CStride, m.Cb, m.CStride, (w+1)/2, (h+1)/2, 1, orientation)
		turn(out.Cr, out.CStride, m.Cr, m.CStride, (w+1)/2, (h+1)/2, 1, orientation)
		return out
	case *image.Gray:
		out := image.NewGray(turned(m.Rect))
		turn(out.Pix, out.Stride, m.Pix, m.Stride, m.Rect.Dx(), m.Rect.Dy(), 1, orientation)
		return out
	case *image.RGBA:
		out := image.NewRGBA(turned(m.Rect))
		turn(out.Pix, out.Stride, m.Pix, m.Stride, m.Rect.Dx(), m.Rect.Dy(), 4, orientation)
		return out
	}
	return m
}

// turn turns a plane of w by h samples of so many bytes each.
func turn(dst []uint8, dstStride int, src []uint8, srcStride, w, h, bytes, orientation int) {
	for y := range h {
		for x := range w {
			tx, ty := facts.Upright(x, y, w, h, orientation)
			copy(dst[ty*dstStride+tx*bytes:][:bytes], src[y*srcStride+x*bytes:])
		}
	}
}
