package ranch

import (
	"fmt"
	"image"
	"math/rand/v2"
	"sync"

	"golang.org/x/image/draw"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomedium"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/f64"
	"golang.org/x/image/math/fixed"
)

// The faces of one picture: a face may not be shared between goroutines.
var parsed = sync.OnceValues(func() (bold, medium *opentype.Font) {
	bold, err := opentype.Parse(gobold.TTF)
	if err != nil {
		panic(err) // the font is part of the program
	}
	medium, err = opentype.Parse(gomedium.TTF)
	if err != nil {
		panic(err)
	}
	return bold, medium
})

func face(f *opentype.Font, size float64) font.Face {
	made, err := opentype.NewFace(f, &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		panic(err) // only a bad size could do this
	}
	return made
}

// write sets a line of marker pen, its letters never quite on the line.
func write(dst draw.Image, with font.Face, x, y int, text string, ink image.Image, d *rand.Rand) {
	w := font.Drawer{Dst: dst, Src: ink, Face: with, Dot: fixed.P(x, y)}
	base := w.Dot.Y
	for _, r := range text {
		if d != nil {
			w.Dot.Y = base + fixed.Int26_6(d.IntN(70)-35)
		}
		w.DrawString(string(r))
	}
}

// boardSize is the photo board's own resolution; it is scaled into a picture.
var boardSize = image.Pt(400, 268)

// boardFor letters the white board that says where and when: place, pasture,
// date and position, as is common practice.
func boardFor(seed uint64, v *Visit, view string) *image.RGBA {
	d := Random(seed, "board", v.Site.Name, v.Year)
	b := newCanvas(boardSize.X, boardSize.Y)
	draw.Draw(b, b.Rect, image.NewUniform(rgb{104, 84, 66}.rgba()), image.Point{}, draw.Src)
	draw.Draw(b, b.Rect.Inset(8), image.NewUniform(rgb{246, 245, 239}.rgba()), image.Point{}, draw.Src)
	for range 14 { // what a year in the truck does to it
		x, y := d.Float64()*float64(boardSize.X), d.Float64()*float64(boardSize.Y)
		b.stroke(x, y, x+d.Float64()*80-40, y+d.Float64()*20-10, 1, 2, rgb{186, 180, 170}, 0.45)
	}
	bold, medium := parsed()
	ink, red := image.NewUniform(rgb{34, 42, 92}.rgba()), image.NewUniform(rgb{150, 38, 34}.rgba())
	const left = 21
	write(b, face(bold, 24), left, 41, Name, red, nil)
	draw.Draw(b, image.Rect(left, 51, boardSize.X-left, 53), red, image.Point{}, draw.Src)
	write(b, face(bold, 34), left, 92, v.Site.Name, ink, d)
	write(b, face(medium, 27), left, 132, v.Site.Pasture, ink, d)
	write(b, face(bold, 39), left, 182, v.Time.Format(boardDate), ink, d)
	write(b, face(medium, 21), left, 218, fmt.Sprintf("%.5f N  %.5f W", v.Site.Latitude, -v.Site.Longitude), ink, d)
	write(b, face(medium, 21), left, 247, fmt.Sprintf("%s, looking %s", view, looking(view, v.Site)), ink, d)
	return b.RGBA
}

// boardDate is a date nobody reads two ways.
const boardDate = "02 Jan 2006"

func looking(view string, s *Site) string {
	if view == "plot" {
		return "down"
	}
	return fmt.Sprintf("%d\u00b0", s.Bearing)
}

// place puts a small picture onto the canvas: its left top corner at x, y, its
// right edge along (ax, ay), its left edge along (bx, by), all in pixels.
func (c *canvas) place(src image.Image, x, y, ax, ay, bx, by float64) {
	w, h := float64(src.Bounds().Dx()), float64(src.Bounds().Dy())
	m := f64.Aff3{ax / w, bx / h, x, ay / w, by / h, y}
	draw.BiLinear.Transform(c.RGBA, m, src, src.Bounds(), draw.Over, nil)
}

// paintBoard stands the board at the lower right, on two short legs.
func (f *frame) paintBoard() {
	const wide, tall = 264 * unit, 177 * unit
	x := (650+f.rand.Float64()*26)*unit + f.shiftX*1.6
	y := (492+f.rand.Float64()*16)*unit + f.shiftY*1.6
	tilt := (f.rand.Float64() - 0.5) * 0.07
	f.soft(x+wide/2+f.shadeSide()*22*unit, y+tall+26*unit, wide*0.56, 13*unit, 0, 0.7, rgb{52, 44, 40}, 0.2+0.45*f.sun)
	for _, leg := range []float64{0.14, 0.86} {
		f.stroke(x+wide*leg, y+tall*0.9+tilt*wide*leg, x+wide*leg+2, y+tall+34*unit, 6, 5, rgb{96, 78, 62}, 1)
	}
	f.place(boardFor(f.seed, f.Visit, "landscape"), x, y, wide, tilt*wide, -tilt*tall, tall)
}
