package ranch

import (
	"math"
	"math/rand/v2"
)

// bunch is one bunchgrass of the plot, known by where it grows. The plants are
// the same ones every year; rain decides how far each reaches.
type bunch struct {
	X, Y  float64 // inches from the middle of the square
	rank  float64 // 0 to 1: the last to dry up is 0
	reach float64 // inches in a usual year
}

// bunches finds room for the site's grasses, none on top of another.
func bunches(seed uint64, s *Site) []bunch {
	d := random(seed, "bunches", s.Name)
	var all []bunch
	for range 900 {
		X, Y := anywhere(d)
		b := bunch{X, Y, d.Float64(), 1.7 + 2.1*d.Float64()}
		room := true
		for _, o := range all {
			if math.Hypot(b.X-o.X, b.Y-o.Y) < 0.82*(b.reach+o.reach) {
				room = false
				break
			}
		}
		if room {
			all = append(all, b)
		}
	}
	return all
}

// grown is the plant's reach in inches under this year's cover, 0 if it did
// not come up.
func (b bunch) grown(cover float64) float64 {
	share := cover / 0.36
	if b.rank > 0.30+0.85*share {
		return 0
	}
	return b.reach * (0.42 + 0.62*math.Sqrt(share)*(1.1-0.3*b.rank))
}

// paintBunch draws a bunchgrass from straight above: blades out from a crown,
// the old ones grey at the heart.
func (p *plot) paintBunch(b bunch, which int) {
	reach := b.grown(p.Cover)
	if reach == 0 {
		return
	}
	d := random(p.seed, "bunch", p.Site.Name, which, p.Year)
	x, y := p.point(b.X, b.Y)
	r := reach * p.scale
	p.soft(x+p.shade*r*0.22, y+r*0.18, r*0.80, r*0.74, 0, 0.5, rgb{52, 44, 38}, 0.30+0.25*p.sun)
	p.soft(x, y, r*0.42, r*0.42, 0, 0.6, rgb{112, 98, 70}, 0.75)
	green := p.grass()
	n := 40 + int(r*1.25)
	windA := float64(p.Site.Bearing) * math.Pi / 180
	for i := range n {
		a := d.Float64() * 2 * math.Pi
		long := r * (0.45 + 0.62*d.Float64())
		if i < n/4 {
			long *= 0.6
		}
		from := 0.22 * r * d.Float64()
		sin, cos := math.Sincos(a)
		bend := (d.Float64() - 0.5) * 0.9
		sin2, cos2 := math.Sincos(a + bend)
		x0, y0 := x+cos*from, y+sin*from
		mx, my := x+cos*long*0.6, y+sin*long*0.6
		x1, y1 := x+cos2*long+math.Cos(windA)*r*0.08, y+sin2*long+math.Sin(windA)*r*0.08
		c := green.mix(rgb{220, 200, 146}, 0.75*d.Float64()*d.Float64()+0.2*(1-p.Green))
		light := 0.60 + 0.36*float64(i)/float64(n) + 0.2*d.Float64() - 0.10*cos*p.shade*p.sun
		p.curve(x0, y0, mx, my, x1, y1, 2.3, 0.7, c.lit(light), 0.95)
	}
	if p.Green > 0.35 { // seed heads
		for range int(3 + 7*p.Green*d.Float64()) {
			a, l := d.Float64()*2*math.Pi, r*(0.8+0.45*d.Float64())
			sin, cos := math.Sincos(a)
			p.stroke(x+cos*l*0.2, y+sin*l*0.2, x+cos*l, y+sin*l, 1.1, 0.8, rgb{198, 178, 118}, 0.9)
			p.disc(x+cos*l, y+sin*l, 1.7, 6, a+math.Pi/2, rgb{190, 160, 112}, 0.95)
		}
	}
}

// paintForbs sprinkles flowering plants between the grasses; dry years have
// few, and no flowers.
func (p *plot) paintForbs(d *rand.Rand) {
	n := int(3 + 20*p.Green)
	for i := range n {
		x, y := p.point(anywhere(d))
		r := (0.5 + 0.8*d.Float64()) * (0.7 + 0.5*p.Green) * p.scale
		leaf := rgb{112, 134, 82}.mix(rgb{150, 148, 112}, 0.8-p.Green).lit(0.85 + 0.3*d.Float64())
		p.soft(x+p.shade*r*0.3, y+r*0.25, r*0.9, r*0.8, 0, 0.5, rgb{52, 44, 38}, 0.35)
		leaves := 6 + d.IntN(5)
		turn := d.Float64() * 6
		for ring := range 2 {
			for k := range leaves {
				a := turn + float64(ring)*0.4 + float64(k)*2*math.Pi/float64(leaves)
				sin, cos := math.Sincos(a)
				l := r * (1 - 0.4*float64(ring))
				p.disc(x+cos*l*0.55, y+sin*l*0.55, l*0.48, l*0.17, a, leaf.lit(0.86+0.22*float64(ring)-0.1*cos*p.shade), 0.95)
			}
		}
		if d.Float64() < p.Green*1.1 {
			petal := []rgb{{240, 206, 70}, {236, 232, 226}, {158, 118, 190}, {226, 126, 74}}[(i+p.Site.Bearing)%4]
			for range 2 + d.IntN(4) {
				fx, fy := x+(d.Float64()-0.5)*r*1.3, y+(d.Float64()-0.5)*r*1.3
				for k := range 5 {
					sin, cos := math.Sincos(float64(k)*2*math.Pi/5 + turn)
					p.disc(fx+cos*2.6, fy+sin*2.6, 2.4, 1.7, float64(k)*2*math.Pi/5+turn, petal, 0.95)
				}
				p.disc(fx, fy, 1.5, 1.5, 0, rgb{176, 128, 40}, 1)
			}
		}
	}
}
