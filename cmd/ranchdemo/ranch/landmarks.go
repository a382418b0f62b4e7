package ranch

import "math"

// landmark is what people steer by when they look for the stake again.
type landmark int

const (
	windmill landmark = iota
	tank
	cottonwood
	corral
	playa
	rim // on the skyline itself
)

func (f *frame) landmark() []thing {
	switch f.Site.landmark {
	case windmill:
		return []thing{{44, func() { f.paintWindmill(-8.5, 44) }}}
	case tank:
		return []thing{{27, func() { f.paintTank(4.2, 27) }}}
	case cottonwood:
		return []thing{{46, func() { f.paintCottonwood(8.5, 46) }}}
	case corral:
		return []thing{{34, func() { f.paintCorral(-5, 30) }}}
	case playa:
		return []thing{{150, f.paintPlaya}}
	}
	return nil
}

// bar is a straight member between two scene points, thick in meters.
func (f *frame) bar(X0, Y0, Z0, X1, Y1, Z1, thick float64, p rgb) {
	x0, y0, k0 := f.point(X0, Y0, Z0)
	x1, y1, k1 := f.point(X1, Y1, Z1)
	f.stroke(x0, y0, x1, y1, max(thick*k0, 0.8), max(thick*k1, 0.8), p, 0.95)
}

func (f *frame) paintWindmill(X, Z float64) {
	const tall, foot, head = 9.2, 1.5, 0.22
	steel := rgb{108, 108, 108}
	f.shadow(X, Z, 3.2, 4, 0.28)
	at := func(leg, h float64) float64 { return leg * (foot + (head-foot)*h/tall) }
	for _, back := range []float64{1, 0} { // far legs first
		z, p := Z+back*2.2, steel.lit(1-0.25*back)
		for _, leg := range []float64{-1, 1} {
			f.bar(X+at(leg, 0), 0, z, X+at(leg, tall)-0.2*back, tall, Z, 0.085, p)
		}
		for h := 0.4; h < tall-1; h += 1.75 {
			g := h + 1.75
			f.bar(X+at(-1, h), h, z, X+at(1, h), h, z, 0.05, p)
			f.bar(X+at(-1, h), h, z, X+at(1, min(g, tall)), min(g, tall), z, 0.035, p)
			f.bar(X+at(1, h), h, z, X+at(-1, min(g, tall)), min(g, tall), z, 0.035, p)
		}
	}
	f.bar(X, 0, Z, X, tall, Z, 0.04, rgb{96, 78, 66}) // the pump rod
	// tail and wheel, turned by the morning's wind
	turn := f.rand.Float64() * math.Pi
	x, y, k := f.point(X, tall+0.35, Z)
	f.fill(rgb{150, 62, 50}, 0.95, x+0.5*k, y-0.05*k, x+1.5*k, y-0.42*k, x+2.15*k, y-0.38*k, x+2.15*k, y+0.38*k, x+1.5*k, y+0.40*k, x+0.5*k, y+0.05*k)
	f.stroke(x, y, x+1.5*k, y, 0.07*k, 0.07*k, steel, 1)
	const blades, rx, ry = 18, 1.42, 1.55
	for i := range blades {
		a := turn + float64(i)*2*math.Pi/blades
		sin, cos := math.Sincos(a)
		sin2, cos2 := math.Sincos(a + 0.24)
		light := 0.92 + 0.38*math.Sin(a+0.8)
		f.fill(rgb{178, 180, 182}.lit(light), 0.95,
			x+cos*0.45*rx*k, y+sin*0.45*ry*k, x+cos*rx*k, y+sin*ry*k,
			x+cos2*rx*k, y+sin2*ry*k, x+cos2*0.45*rx*k, y+sin2*0.45*ry*k)
	}
	for i := range 40 { // the rims
		s0, c0 := math.Sincos(float64(i) * math.Pi / 20)
		s1, c1 := math.Sincos(float64(i+1) * math.Pi / 20)
		for _, q := range []float64{0.5, 0.86} {
			f.stroke(x+c0*rx*q*k, y+s0*ry*q*k, x+c1*rx*q*k, y+s1*ry*q*k, 1, 1, steel.lit(0.8), 0.9)
		}
	}
	f.disc(x, y, 0.16*k, 0.18*k, 0, steel.lit(0.7), 1)
	f.drum(X+4.4, Z-2, 1.7, 0.62, rgb{150, 154, 156})
}

// drum is an upright cylinder of corrugated steel: a stock tank.
func (f *frame) drum(X, Z, radius, tall float64, p rgb) {
	f.shadow(X, Z, radius*2, tall, 0.42)
	x, y, k := f.point(X, 0, Z)
	_, top, _ := f.point(X, tall, Z)
	squash := radius * k * eye / Z * 0.7
	r := radius * k
	for px := int(x - r); px <= int(x+r); px++ {
		u := (float64(px) + 0.5 - x) / r
		if math.Abs(u) > 1 {
			continue
		}
		dip := squash * math.Sqrt(1-u*u)
		light := 0.72 + 0.42*math.Sqrt(1-math.Pow(min(max(u*0.8+0.4*f.shadeSide(), -1), 1), 2)) - 0.12
		c := p.lit(light)
		f.stroke(float64(px)+0.5, top, float64(px)+0.5, y+dip, 1.01, 1.01, c, 1)
	}
	for h := 0.15; h < tall; h += 0.3 {
		_, ry, _ := f.point(X, h, Z)
		f.stroke(x-r, ry, x+r, ry+squash*0.2, 0.9, 0.9, p.lit(0.66), 0.45)
	}
	f.disc(x, top, r, max(squash*eye/2, 1), 0, p.lit(0.62), 1)
	f.disc(x, top+0.6, r*0.94, max(squash*eye/2-1, 0.8), 0, f.skyAt(0.3).lit(0.8), 0.75)
}

// paintTank: a wide stock tank with a rail across it, and the solar panel whose
// pump fills it.
func (f *frame) paintTank(X, Z float64) {
	f.drum(X, Z, 3.1, 0.72, rgb{156, 160, 160})
	pipe := rgb{128, 112, 98}
	f.bar(X-3.3, 0.95, Z-0.4, X+3.3, 0.95, Z-0.4, 0.09, pipe)
	for _, at := range []float64{-3.3, 0, 3.3} {
		f.bar(X+at, 0, Z-0.4, X+at, 1.05, Z-0.4, 0.1, pipe.lit(0.9))
	}
	const out, tall = -5.6, 2.5 // the panel, on a post of its own
	f.shadow(X+out, Z+2, 1.8, tall, 0.35)
	f.bar(X+out, 0, Z+2, X+out, tall, Z+2, 0.14, rgb{112, 112, 110})
	x, y, k := f.point(X+out, tall, Z+2)
	f.fill(rgb{52, 66, 104}, 1, x-1.15*k, y+0.42*k, x-0.95*k, y-0.5*k, x+1.2*k, y-0.42*k, x+1.0*k, y+0.5*k)
	for i := -2; i <= 2; i++ {
		at := float64(i) * 0.4 * k
		f.stroke(x+at-0.08*k, y+0.44*k, x+at+0.1*k, y-0.44*k, 1, 1, rgb{150, 164, 190}, 0.7)
	}
	f.drum(X+5.2, Z+1, 0.7, 0.6, rgb{92, 96, 92}) // mineral tub
}

// paintPlaya: a shallow bowl that holds water after a wet spring, mud after a
// usual one, and pale clay after a dry one. Its banks stay where they are.
func (f *frame) paintPlaya() {
	const midX, midZ, halfX, halfZ = -5, 74, 31, 33
	n := f.Site.horizon.n
	full := min(max((f.Inches/f.Usual-0.74)/0.6, 0), 1) // share of the bowl under water
	air := f.skyAt(0.03)
	for y := int(f.horizon); y < height; y++ {
		Z := eye * focal / max(float64(y)-f.horizon+0.5, 0.5)
		deep := (Z - midZ) / halfZ
		if math.Abs(deep) > 1.25 {
			continue
		}
		for x := range width {
			X := (float64(x) - width/2 - f.shiftX) * Z / focal
			r := math.Hypot((X-midX)/halfX, deep) + 0.16*(n.sum(X*0.16+70, Z*0.16, 2)-0.5)
			if r > 1.2 {
				continue
			}
			p := rgb{206, 194, 168}.lit(0.94 + 0.14*n.at(X*0.9, Z*0.5))
			p = p.mix(rgb{148, 132, 108}, 0.8*step(full+0.35, full, r)*step(0, 0.12, full))
			water := f.skyAt(0.45).lit(0.9 + 0.1*n.at(X*0.5, Z*1.7))
			p = p.mix(water, step(full+0.03, full-0.03, r)*step(0, 0.1, full))
			ring := step(0.9, 1.02, r) // wheatgrass about it
			p = p.mix(f.grass().lit(0.74).mix(rgb{96, 122, 84}, 0.5), ring)
			p = p.mix(air, (0.08+0.4*f.haze)*step(20, 300, Z))
			f.blend(x, y, p.ink(), step(1.2, 1.05, r))
		}
	}
}

// crown fills a tree top with clusters of leaves, the same ones every year.
func (f *frame) crown(name string, X, Z float64, leaf rgb, clumps [][3]float64, dabs int) {
	d := Random(f.seed, name, f.Site.Name)
	for _, c := range clumps {
		x, y, k := f.point(X+c[0], c[1], Z)
		f.soft(x, y, c[2]*k*0.76, c[2]*k*0.70, 0, 0.3, leaf.lit(0.55), 0.92)
	}
	for _, c := range clumps {
		x, y, k := f.point(X+c[0], c[1], Z)
		for range dabs {
			a, r := d.Float64()*2*math.Pi, math.Sqrt(d.Float64())
			ex, ey := math.Cos(a)*r, math.Sin(a)*r
			light := 0.82 + 0.30*ey - 0.24*f.sun*ex*f.shadeSide() + 0.4*(d.Float64()-0.5)
			s := (0.09 + 0.1*d.Float64()) * k
			f.disc(x+ex*c[2]*k, y-ey*c[2]*k*0.92, s, s*0.7, d.Float64()*3, leaf.lit(light), 0.85)
		}
	}
}

func (f *frame) paintCottonwood(X, Z float64) {
	f.shadow(X, Z, 8, 3, 0.5)
	bark := rgb{118, 104, 90}
	f.bar(X, 0, Z, X-0.2, 3.4, Z, 0.8, bark)
	f.bar(X-0.2, 3.0, Z, X-2.2, 6.4, Z, 0.42, bark)
	f.bar(X-0.2, 3.0, Z, X+1.9, 6.8, Z, 0.4, bark.lit(0.9))
	f.bar(X-0.1, 3.2, Z, X+0.2, 8, Z, 0.36, bark)
	leaf := rgb{122, 142, 70}.mix(rgb{92, 138, 58}, f.Green)
	f.crown("cottonwood", X, Z, leaf, [][3]float64{
		{-2.9, 5.6, 1.5}, {2.7, 5.9, 1.5}, {0, 6.2, 1.9}, {-1.8, 7.4, 1.7}, {1.7, 7.8, 1.7},
		{0.1, 9, 1.7}, {-3.6, 6.8, 1.1}, {3.4, 7, 1.1}, {-0.9, 10, 1.1},
	}, 120)
}

func (f *frame) paintCorral(X, Z float64) {
	d := Random(f.seed, "corral", f.Site.Name)
	wood := rgb{138, 124, 108}
	// an octagon of posts and rails, leaning with age; the far side first
	type corner struct{ X, Z, tall float64 }
	var ring []corner
	const posts, r = 18, 6.2
	for i := range posts {
		sin, cos := math.Sincos(float64(i)*2*math.Pi/posts + math.Pi/2)
		ring = append(ring, corner{X + cos*r, Z + sin*r*0.8, 1.6 + 0.35*d.Float64()})
	}
	for _, i := range []int{0, 17, 1, 16, 2, 15, 3, 14, 4, 13, 5, 12, 6, 11, 7, 10, 8, 9} {
		a, b := ring[i], ring[(i+1)%posts]
		down := d.Float64()
		f.shadow(a.X, a.Z, 0.4, 0.8, 0.3)
		if i != 9 { // the gate stands open
			for j, h := range []float64{0.45, 0.9, 1.35} {
				if j == 2 && down < 0.2 {
					continue // a rail has come down
				}
				f.bar(a.X, h+0.1*(d.Float64()-0.5), a.Z, b.X, h+0.12*(d.Float64()-0.5), b.Z, 0.11, wood.lit(0.85+0.3*d.Float64()))
			}
		}
		f.bar(a.X, 0, a.Z, a.X+0.1*(d.Float64()-0.5), a.tall, a.Z, 0.18, wood.lit(0.75+0.35*d.Float64()))
	}
	// the loading chute
	g := ring[4]
	f.bar(g.X-3, 0, g.Z, g.X-3, 2.1, g.Z, 0.2, wood)
	f.bar(g.X-3, 1.9, g.Z, g.X, 0.9, g.Z, 0.14, wood.lit(1.1))
	f.bar(g.X-3, 1.2, g.Z, g.X, 0.2, g.Z, 0.16, wood.lit(0.9))
	f.bar(g.X-1.5, 0, g.Z, g.X-1.5, 1.5, g.Z, 0.16, wood.lit(0.85))
}
