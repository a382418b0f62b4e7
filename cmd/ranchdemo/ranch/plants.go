package ranch

import (
	"math"
	"math/rand/v2"
)

// habit is how a grass of the short-grass plains grows.
type habit int

const (
	sod    habit = iota // blue grama and buffalograss: low mats
	bunch               // needle-and-thread: long leaves from one crown
	spread              // western wheatgrass: single stems, blue-green
)

// plant is one grass of the plot, known by where it grows. The plants are the
// same ones every year; rain decides how far each reaches.
type plant struct {
	habit
	X, Y  float64 // inches from the middle of the hoop
	rank  float64 // 0 to 1: the last to dry up is 0
	reach float64 // inches in a usual year
}

// plants finds room for the site's grasses; mats grow into one another.
func plants(seed uint64, s *Site) []plant {
	d := Random(seed, "plants", s.Name)
	var all []plant
	for range 1400 {
		X, Y := anywhere(d)
		b := plant{sod, X, Y, d.Float64(), 1.3 + 1.9*d.Float64()}
		switch kind := d.Float64(); {
		case kind < 0.05:
			b.habit, b.reach = bunch, 2.4+1.2*d.Float64()
		case kind < 0.15:
			b.habit, b.reach = spread, 1.2+1.2*d.Float64()
		}
		room := true
		for _, o := range all {
			if math.Hypot(b.X-o.X, b.Y-o.Y) < 0.66*(b.reach+o.reach) {
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
func (b plant) grown(cover float64) float64 {
	share := cover / 0.46
	if b.rank > 0.34+0.72*share {
		return 0
	}
	return b.reach * (0.46 + 0.60*math.Sqrt(share)*(1.1-0.3*b.rank))
}

// paintPlant draws a grass from straight above.
func (p *plot) paintPlant(b plant, which int) {
	reach := b.grown(p.Cover)
	if reach == 0 {
		return
	}
	d := Random(p.seed, "plant", p.Site.Name, which, p.Year)
	x, y := p.point(b.X, b.Y)
	r := reach * p.scale
	switch b.habit {
	case sod:
		p.paintSod(Random(p.seed, "mat", p.Site.Name, which), d, x, y, r)
	case bunch:
		p.soft(x+p.shade*r*0.22, y+r*0.18, r*0.7, r*0.64, 0, 0.5, rgb{52, 44, 38}, 0.26+0.2*p.sun)
		p.soft(x, y, r*0.36, r*0.36, 0, 0.6, rgb{112, 98, 70}, 0.75)
		p.blades(d, x, y, r, 0.22, 30+int(r*0.9), p.grass())
		if p.Green > 0.3 { // the awned seed, long as a hand
			for range int(2 + 5*p.Green) {
				a, l := d.Float64()*2*math.Pi, r*(0.9+0.5*d.Float64())
				sin, cos := math.Sincos(a)
				p.curve(x+cos*l*0.3, y+sin*l*0.3, x+cos*l*0.8, y+sin*l*0.8, x+cos*l-sin*l*0.3, y+sin*l+cos*l*0.3, 1, 0.6, rgb{206, 186, 132}, 0.9)
			}
		}
	case spread:
		leaf := p.grass().mix(rgb{132, 156, 146}, 0.45)
		for range 3 + int(r/6) {
			a, q := d.Float64()*2*math.Pi, r*math.Sqrt(d.Float64())
			sin, cos := math.Sincos(a)
			p.blades(d, x+cos*q, y+sin*q, 0.9*p.scale, 0.05, 4, leaf)
		}
	}
}

// paintSod draws a mat: lobes that keep their shape from year to year, under a
// nap of fine curled leaves, and in a good year the flags of grama seed.
func (p *plot) paintSod(shape, d *rand.Rand, x, y, r float64) {
	green := p.grass()
	lobes := 4 + shape.IntN(4)
	for i := range lobes {
		a, q := shape.Float64()*2*math.Pi, r*0.55*shape.Float64()
		sin, cos := math.Sincos(a)
		lx, ly, lr := x+cos*q, y+sin*q, r*(0.42+0.3*shape.Float64())
		p.soft(lx+p.shade*2, ly+2, lr*1.05, lr*0.95, 0, 0.35, rgb{58, 50, 42}, 0.18+0.14*p.sun)
		p.soft(lx, ly, lr, lr*0.9, a, 0.35, green.mix(p.Site.ground, 0.3).lit(0.74), 0.8)
		p.blades(d, lx, ly, lr*1.1, 0.85, (30+int(lr*1.9))/2, green.lit(0.92+0.03*float64(i%3)))
	}
	if p.Green < 0.3 {
		return
	}
	for range int(1 + 5*p.Green*d.Float64()) {
		a, q := d.Float64()*2*math.Pi, r*0.8*d.Float64()
		sin, cos := math.Sincos(a)
		hx, hy := x+cos*q, y+sin*q
		l := (0.5 + 0.25*d.Float64()) * p.scale
		p.stroke(hx, hy, hx+cos*l*1.6, hy+sin*l*1.6, 1, 0.8, rgb{196, 180, 124}, 0.9)
		p.curve(hx+cos*l*1.6, hy+sin*l*1.6, hx+cos*l*1.6-sin*l*0.5, hy+sin*l*1.6+cos*l*0.5, hx+cos*l*1.2-sin*l, hy+sin*l*1.2+cos*l, 2.4, 1.2, rgb{150, 120, 88}, 0.95)
	}
}

// blades draws leaves outward from a crown; heart is the share of the reach within
// which they begin. The first are the oldest, and cured.
func (p *plot) blades(d *rand.Rand, x, y, r, heart float64, n int, leaf rgb) {
	wind := float64(p.Site.Bearing) * math.Pi / 180
	for i := range n {
		sin, cos := math.Sincos(d.Float64() * 2 * math.Pi)
		from := heart * r * math.Sqrt(d.Float64())
		long := (r*(1-0.6*heart) + 3) * (0.45 + 0.55*d.Float64())
		bend := (d.Float64() - 0.5) * 1.3
		sin2, cos2 := cos*bend+sin, cos-sin*bend
		x0, y0 := x+cos*from, y+sin*from
		mx, my := x0+cos*long*0.55, y0+sin*long*0.55
		x1, y1 := x0+cos2*long*0.9+math.Cos(wind)*long*0.08, y0+sin2*long*0.9+math.Sin(wind)*long*0.08
		c := leaf.mix(rgb{220, 200, 146}, 0.7*d.Float64()*d.Float64()+0.2*(1-p.Green))
		light := 0.62 + 0.36*float64(i)/float64(n) + 0.2*d.Float64() - 0.10*cos*p.shade*p.sun
		p.curve(x0, y0, mx, my, x1, y1, 1.9, 0.7, c.lit(light), 0.95)
	}
}

// paintForbs sprinkles scarlet globemallow, asters and the like between the
// grasses; dry years have few, and no flowers. Snakeweed stands dry years best.
func (p *plot) paintForbs(d *rand.Rand) {
	petals := []rgb{{226, 108, 66}, {226, 108, 66}, {238, 234, 228}, {160, 122, 188}}
	for i := range int(3 + 13*p.Green) {
		x, y := p.point(anywhere(d))
		r := (0.5 + 0.6*d.Float64()) * (0.7 + 0.5*p.Green) * p.scale
		leaf := rgb{134, 150, 118}.mix(rgb{154, 152, 122}, 0.8-p.Green).lit(0.85 + 0.3*d.Float64())
		p.soft(x+p.shade*r*0.3, y+r*0.25, r*0.9, r*0.8, 0, 0.5, rgb{52, 44, 38}, 0.35)
		p.rosette(d, x, y, r, leaf)
		if d.Float64() > p.Green*1.1 {
			continue
		}
		for range 2 + d.IntN(4) {
			p.flower(x+(d.Float64()-0.5)*r*1.3, y+(d.Float64()-0.5)*r*1.3, petals[(i+p.Site.Bearing)%len(petals)])
		}
	}
	same := Random(p.seed, "snakeweed", p.Site.Name)
	for range 2 + same.IntN(2) {
		x, y := p.point(anywhere(same))
		r := (1.3 + 0.7*same.Float64()) * p.scale
		p.soft(x+p.shade*r*0.3, y+r*0.25, r, r*0.9, 0, 0.4, rgb{48, 42, 38}, 0.4)
		p.blades(d, x, y, r, 0.5, 90, rgb{128, 138, 82})
		for range 26 {
			a, q := d.Float64()*2*math.Pi, r*math.Sqrt(d.Float64())
			sin, cos := math.Sincos(a)
			p.disc(x+cos*q, y+sin*q, 1.5, 1.3, 0, rgb{230, 196, 66}, 0.95)
		}
	}
}

func (p *plot) rosette(d *rand.Rand, x, y, r float64, leaf rgb) {
	leaves, turn := 6+d.IntN(5), d.Float64()*6
	for ring := range 2 {
		for k := range leaves {
			a := turn + float64(ring)*0.4 + float64(k)*2*math.Pi/float64(leaves)
			sin, cos := math.Sincos(a)
			l := r * (1 - 0.4*float64(ring))
			p.disc(x+cos*l*0.55, y+sin*l*0.55, l*0.48, l*0.17, a, leaf.lit(0.86+0.22*float64(ring)-0.1*cos*p.shade), 0.95)
		}
	}
}

func (p *plot) flower(x, y float64, petal rgb) {
	for k := range 5 {
		a := float64(k) * 2 * math.Pi / 5
		sin, cos := math.Sincos(a)
		p.disc(x+cos*2.4, y+sin*2.4, 2.2, 1.7, a, petal, 0.95)
	}
	p.disc(x, y, 1.4, 1.4, 0, rgb{190, 150, 60}, 1)
}

// paintPears: two clumps of prickly pear, the same pads every year and a new one
// now and then.
func (p *plot) paintPears() {
	d := Random(p.seed, "pears", p.Site.Name)
	for range 2 {
		X, Y := offside-16+32*d.Float64(), -15+30*d.Float64()
		pads := 4 + d.IntN(3) + (p.Year-FirstYear)/5
		for i := range pads {
			a, q := d.Float64()*2*math.Pi, 0.7+1.2*math.Sqrt(float64(i))*d.Float64()
			sin, cos := math.Sincos(a)
			x, y := p.point(X+cos*q, Y+sin*q)
			r := (0.85 + 0.4*d.Float64()) * p.scale
			pad := rgb{118, 142, 98}.mix(rgb{140, 134, 104}, 0.7*(1-p.Green)).lit(0.84 + 0.24*d.Float64())
			p.soft(x+p.shade*r*0.35, y+r*0.3, r, r*0.72, a, 0.3, rgb{46, 42, 36}, 0.45)
			p.disc(x, y, r, r*0.68, a, pad, 1)
			p.soft(x-p.shade*r*0.2, y-r*0.2, r*0.5, r*0.3, a, 0.9, pad.lit(1.2), 0.6)
			for k := range 9 { // areoles, and their spines
				u, v := (float64(k%3)-1)*0.5, (float64(k/3)-1)*0.38
				sx, sy := x+(u*cos-v*sin)*r, y+(u*sin+v*cos)*r
				p.stroke(sx-1.6, sy-1.2, sx+1.6, sy+1.2, 0.8, 0.8, rgb{226, 218, 190}, 0.8)
			}
		}
	}
}
