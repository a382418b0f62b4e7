package ranch

import (
	"image"
	"image/color"
	"math"

	"golang.org/x/image/vector"
)

// Pictures are this size, in pixels. They are composed on a sheet 960 wide;
// unit is how many pixels one step of that sheet is.
const (
	width  = 800
	height = 600
	unit   = width / 960.0
)

// rgb is a color with room for sums; 0 to 255 once it lands on the canvas.
type rgb struct{ r, g, b float32 }

func (c rgb) mix(o rgb, t float64) rgb {
	f := float32(min(max(t, 0), 1))
	return rgb{c.r + (o.r-c.r)*f, c.g + (o.g-c.g)*f, c.b + (o.b-c.b)*f}
}

func (c rgb) lit(f float64) rgb {
	k := float32(f)
	return rgb{c.r * k, c.g * k, c.b * k}
}

// canvas is a picture being painted; every stroke is anti-aliased by hand,
// which is far quicker than filling a path for each of ten thousand blades.
type canvas struct{ *image.RGBA }

func newCanvas(w, h int) *canvas {
	c := &canvas{image.NewRGBA(image.Rect(0, 0, w, h))}
	for i := 3; i < len(c.Pix); i += 4 {
		c.Pix[i] = 255
	}
	return c
}

func clamp8(v float32) uint8 {
	if v <= 0 {
		return 0
	}
	if v >= 255 {
		return 255
	}
	return uint8(v + 0.5)
}

func (c *canvas) set(x, y int, p rgb) {
	i := y*c.Stride + x*4
	c.Pix[i], c.Pix[i+1], c.Pix[i+2], c.Pix[i+3] = clamp8(p.r), clamp8(p.g), clamp8(p.b), 255
}

// ink is p within what a pixel can show; blend relies on it.
func (c rgb) ink() rgb {
	return rgb{min(max(c.r, 0), 255), min(max(c.g, 0), 255), min(max(c.b, 0), 255)}
}

// blend lays p, an ink, over the pixel with strength a (0 to 1).
func (c *canvas) blend(x, y int, p rgb, a float64) {
	if a <= 0 || uint(x) >= uint(c.Rect.Max.X) || uint(y) >= uint(c.Rect.Max.Y) {
		return
	}
	f := float32(min(a, 1))
	i := y*c.Stride + x*4
	q := c.Pix[i : i+3 : i+3]
	q[0] += uint8(int32((p.r - float32(q[0])) * f))
	q[1] += uint8(int32((p.g - float32(q[1])) * f))
	q[2] += uint8(int32((p.b - float32(q[2])) * f))
}

// stroke is a tapering line: w0 pixels wide where it starts, w1 where it ends.
func (c *canvas) stroke(x0, y0, x1, y1, w0, w1 float64, p rgb, a float64) {
	p = p.ink()
	dx, dy := x1-x0, y1-y0
	long := max(math.Abs(dx), math.Abs(dy))
	if long < 0.5 {
		c.disc(x0, y0, w0/2, w0/2, 0, p, a)
		return
	}
	steep := math.Abs(dy) >= math.Abs(dx)
	// a slanted line is wider measured along an axis than across itself
	slant := math.Hypot(dx, dy) / long
	n := int(long + 1)
	for i := 0; i <= n; i++ {
		t := min(float64(i)/long, 1)
		x, y := x0+dx*t, y0+dy*t
		half := (w0 + (w1-w0)*t) / 2 * slant
		if steep {
			c.span(x, half, int(math.Floor(y)), true, p, a)
		} else {
			c.span(y, half, int(math.Floor(x)), false, p, a)
		}
	}
}

// span covers mid-half to mid+half on one row or column.
func (c *canvas) span(mid, half float64, line int, row bool, p rgb, a float64) {
	lo, hi := mid-half, mid+half
	for k := int(math.Floor(lo)); k <= int(math.Floor(hi)); k++ {
		cover := min(hi, float64(k+1)) - max(lo, float64(k))
		if row {
			c.blend(k, line, p, a*cover)
		} else {
			c.blend(line, k, p, a*cover)
		}
	}
}

// curve is a stroke bent through a middle point.
func (c *canvas) curve(x0, y0, mx, my, x1, y1, w0, w1 float64, p rgb, a float64) {
	const parts = 4
	px, py, pw := x0, y0, w0
	for i := 1; i <= parts; i++ {
		t := float64(i) / parts
		u := 1 - t
		x := u*u*x0 + 2*u*t*mx + t*t*x1
		y := u*u*y0 + 2*u*t*my + t*t*y1
		w := w0 + (w1-w0)*t
		c.stroke(px, py, x, y, pw, w, p, a)
		px, py, pw = x, y, w
	}
}

// disc is an ellipse with half-axes rx, ry, turned by rot radians.
func (c *canvas) disc(x, y, rx, ry, rot float64, p rgb, a float64) {
	c.soft(x, y, rx, ry, rot, 0.5/max(min(rx, ry), 0.5), p, a)
}

// soft is a disc whose edge fades over the given share of its radius.
func (c *canvas) soft(x, y, rx, ry, rot, edge float64, p rgb, a float64) {
	p = p.ink()
	out, in := (1+edge)*(1+edge), max(1-edge, 0)*max(1-edge, 0)
	k := a / (out - in)
	sin, cos := math.Sincos(rot)
	// half the height and width of the turned ellipse's box
	h := (1 + edge) * math.Hypot(rx*sin, ry*cos)
	w := (1 + edge) * math.Hypot(rx*cos, ry*sin)
	x0, x1 := max(int(x-w), 0), min(int(x+w)+1, c.Rect.Max.X-1)
	y0, y1 := max(int(y-h), 0), min(int(y+h)+1, c.Rect.Max.Y-1)
	du, dv := cos/rx, -sin/ry
	for py := y0; py <= y1; py++ {
		ex, ey := float64(x0)+0.5-x, float64(py)+0.5-y
		u, v := (ex*cos+ey*sin)/rx, (ey*cos-ex*sin)/ry
		for px := x0; px <= x1; px++ {
			if d := u*u + v*v; d < out {
				c.blend(px, py, p, min((out-d)*k, a))
			}
			u, v = u+du, v+dv
		}
	}
}

// fill paints a polygon given as x, y pairs.
func (c *canvas) fill(p rgb, a float64, xy ...float64) {
	p = p.ink()
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for i := 0; i < len(xy); i += 2 {
		x0, x1 = min(x0, xy[i]), max(x1, xy[i])
		y0, y1 = min(y0, xy[i+1]), max(y1, xy[i+1])
	}
	box := image.Rect(int(math.Floor(x0)), int(math.Floor(y0)), int(x1)+1, int(y1)+1).Intersect(c.Rect)
	if box.Empty() {
		return
	}
	ras := vector.NewRasterizer(box.Dx(), box.Dy())
	for i := 0; i < len(xy); i += 2 {
		x, y := float32(xy[i]-float64(box.Min.X)), float32(xy[i+1]-float64(box.Min.Y))
		if i == 0 {
			ras.MoveTo(x, y)
		} else {
			ras.LineTo(x, y)
		}
	}
	ras.ClosePath()
	mask := image.NewAlpha(image.Rect(0, 0, box.Dx(), box.Dy()))
	ras.Draw(mask, mask.Rect, image.Opaque, image.Point{})
	for y := range box.Dy() {
		for x := range box.Dx() {
			if m := mask.Pix[y*mask.Stride+x]; m != 0 {
				c.blend(box.Min.X+x, box.Min.Y+y, p, a*float64(m)/255)
			}
		}
	}
}

func (c rgb) rgba() color.RGBA {
	return color.RGBA{clamp8(c.r), clamp8(c.g), clamp8(c.b), 255}
}
