package ranch

import (
	"image"
	"math/rand/v2"
)

// frame is a landscape picture being painted. Scene points are meters: X to the
// right, Y up, Z away from the camera, which is held at eye height.
type frame struct {
	*canvas
	*Visit
	seed uint64
	rand *rand.Rand // this picture's own chances

	shiftX, shiftY float64 // the hand that holds the camera, in pixels
	roll           float64 // and tilts it, in radians
	horizon        float64 // mid row of the horizon
	sun            float64 // 1 casts hard shadows, 0 none
	haze           float64 // 0 to 1
}

const (
	horizonRow = 318 * unit
	focal      = 900 * unit // pixels
	eye        = 1.55       // meters
	nearest    = 3.2        // meters to the bottom of the picture, about
)

// Landscape paints the view from the stake, with the photo board in front.
func Landscape(seed uint64, v *Visit) image.Image {
	d := Random(seed, "landscape", v.Site.Name, v.Year)
	f := &frame{canvas: newCanvas(width, height), Visit: v, seed: seed, rand: d, sun: 1}
	f.shiftX, f.shiftY = (d.Float64()*14-7)*unit, (d.Float64()*10-5)*unit
	f.roll = (d.Float64() - 0.5) * 0.012
	f.horizon = horizonRow + f.shiftY
	switch v.Weather {
	case Overcast:
		f.sun, f.haze = 0.25, 0.15
	case Storms:
		f.sun, f.haze = 0.45, 0.1
	case Dust:
		f.sun, f.haze = 0.5, 1
	case HighThin:
		f.sun = 0.8
	}
	f.paintSky()
	f.paintSwells()
	f.paintGround()
	f.paintThings()
	f.paintBoard()
	f.develop(d)
	return f.RGBA
}

func (f *frame) sceneX(x float64) float64 { return x - f.shiftX }

// horizonAt is the row of the horizon in column x; a tilted camera slants it.
func (f *frame) horizonAt(x float64) float64 {
	return f.horizon + f.roll*(x-width/2)
}

// point projects a scene point; scale is pixels per meter there.
func (f *frame) point(X, Y, Z float64) (x, y, scale float64) {
	scale = focal / Z
	x = width/2 + f.shiftX + X*scale
	return x, f.horizonAt(x) + (eye-Y)*scale, scale
}

// light is +1 where shadows fall to the right, -1 to the left.
func (f *frame) shadeSide() float64 {
	if f.Site.sunLeft {
		return 1
	}
	return -1
}

// grass is the color of this year's grass, from cured straw to green.
func (v *Visit) grass() rgb {
	return rgb{204, 184, 128}.mix(rgb{128, 147, 86}, 0.10+0.80*v.Green)
}

// paintGround fills everything below the horizon: soil, and patches of grass
// that close up with distance as one looks along them rather than down.
func (f *frame) paintGround() {
	back := f.Site.back()
	grass, soil, air := f.grass(), f.Site.ground, f.skyAt(0.03)
	for y := int(f.horizon) - 8; y < height; y++ {
		Z := eye * focal / max(float64(y)-f.horizon+0.5, 0.5)
		near, brushy := step(60, 6, Z), 0.16*step(25, 160, Z)
		much := f.Cover + (1-f.Cover)*0.85*step(8, 70, Z)
		thick, hazy := 0.58+0.36*step(4, 24, Z), (0.10+0.55*f.haze)*step(20, 500, Z)
		for x := range width {
			down := float64(y) - f.horizonAt(float64(x))
			if down <= -1 {
				continue
			}
			here := back.ground.near(int(f.sceneX(float64(x))+margin+0.5), int(down+0.5))
			crumb := here.at(grain) - 0.5
			p := soil.lit(0.90 + 0.2*here.at(tone) + 0.24*near*crumb)
			light := 0.80 + 0.3*here.at(shade)
			if Z <= 25 {
				light += 0.4 * near * (here.at(blade) - 0.5)
			}
			veg := step(0.76-much*0.78, 1.0-much*0.66, here.at(patch)+0.16*crumb)
			p = p.mix(grass.lit(light), veg*thick)
			if brushy > 0 {
				p = p.mix(rgb{104, 112, 88}, brushy*step(0.56, 0.74, here.at(blade)))
			}
			p = p.lit(0.86+0.2*f.sun).mix(air, hazy)
			f.blend(x, y, p.ink(), down+1)
		}
	}
}

// develop gives the picture the light of its day: exposure, warmth, a little
// falloff to the corners and the grain of a small sensor.
func (c *canvas) develop(d *rand.Rand) {
	expose := 0.96 + 0.08*d.Float64()
	warm := (d.Float64() - 0.5) * 0.05
	w, h := float64(c.Rect.Max.X), float64(c.Rect.Max.Y)
	gain := [3]float64{expose * (1 + warm), expose, expose * (1 - warm)}
	s := d.Uint32() | 1
	for y := range c.Rect.Max.Y {
		v := (float64(y) - h/2) / h
		for x := range c.Rect.Max.X {
			u := (float64(x) - w/2) / w
			fall := 1 - 0.22*(u*u+v*v)
			s ^= s << 13
			s ^= s >> 17
			s ^= s << 5
			grain := float32(s&15)/2.5 - 3
			i := y*c.Stride + x*4
			for k := range 3 {
				c.Pix[i+k] = clamp8(float32(float64(c.Pix[i+k])*gain[k]*fall) + grain)
			}
		}
	}
}
