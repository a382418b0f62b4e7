package ranch

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// thing stands on the ground Z meters off; farther things are painted first.
type thing struct {
	Z     float64
	paint func()
}

// paintThings puts up the landmark, the fence, the brush, the grass and the
// stake. Where they stand follows from the site alone.
func (f *frame) paintThings() {
	var all []thing
	all = append(all, f.landmark()...)
	all = append(all, f.fence()...)
	all = append(all, f.shrubs()...)
	all = append(all, f.tufts()...)
	all = append(all, thing{4.7, f.paintStake})
	slices.SortStableFunc(all, func(a, b thing) int { return cmp.Compare(b.Z, a.Z) })
	for _, t := range all {
		t.paint()
	}
}

// shadow darkens the ground beside something wide and tall meters big.
func (f *frame) shadow(X, Z, wide, tall, strength float64) {
	x, y, k := f.point(X+f.shadeSide()*(wide*0.3+tall*0.28), 0, Z)
	f.soft(x, y, (wide*0.6+tall*0.3)*k, max(wide*0.5*k*eye/Z*1.3, 0.8), 0, 0.6, rgb{54, 46, 42}, strength*(0.2+0.8*f.sun))
}

// shrubs are few on this ground: fourwing saltbush, which grows about a hand's
// width in ten years, snakeweed, and prickly pear.
func (f *frame) shrubs() []thing {
	d := Random(f.seed, "shrubs", f.Site.Name)
	var all []thing
	for i := range 62 {
		Z := 7.5 + 70*math.Pow(d.Float64(), 1.5)
		X := (d.Float64()*2 - 1) * (Z*0.56 + 1)
		size, kind, growth := d.Float64(), d.Float64(), d.Float64()
		if math.Abs(X+1.1) < 0.9 && Z < 14 || f.Site.landmark == playa && Z > 38 {
			continue // the line of sight past the stake is clear, and so is the playa
		}
		paint := func() { f.paintPear(X, Z, 0.13+0.13*size, i) }
		switch {
		case kind < 0.26:
			grown := (0.26 + 0.40*size) * (1 + 0.022*float64(f.Year-FirstYear)*(0.5+growth))
			paint = func() { f.paintSaltbush(X, Z, grown, i) }
		case kind < 0.72:
			paint = func() { f.paintSnakeweed(X, Z, 0.15+0.14*size, i) }
		}
		all = append(all, thing{Z, paint})
	}
	return all
}

func (f *frame) paintSaltbush(X, Z, size float64, which int) {
	d := Random(f.seed, "shrub", f.Site.Name, which) // the same bush every year
	f.shadow(X, Z, size*1.5, size, 0.42)
	leaf := rgb{148, 156, 128}.mix(rgb{132, 150, 104}, 0.35*f.Green)
	x, y, k := f.point(X, 0, Z)
	f.mound(d, x, y, size*0.85*k, size*0.95*k, leaf, 26+int(min(k*size*2.2, 190)), max(0.05*k*size*1.6, 0.8))
}

// paintSnakeweed: a low dome of fine stems, yellow on top in August.
func (f *frame) paintSnakeweed(X, Z, size float64, which int) {
	d := Random(f.seed, "shrub", f.Site.Name, which)
	f.shadow(X, Z, size*1.4, size*0.7, 0.34)
	x, y, k := f.point(X, 0, Z)
	f.mound(d, x, y, size*k, size*0.8*k, rgb{136, 144, 78}, 18+int(min(k*size*1.6, 90)), max(0.07*k*size, 0.7))
	for range int(min(k*size*0.9, 60)) {
		a := d.Float64() * math.Pi
		r := 0.6 + 0.4*d.Float64()
		f.disc(x+math.Cos(a)*r*size*k, y-math.Sin(a)*r*size*0.84*k, 1.1, 0.9, 0, rgb{226, 190, 62}, 0.9)
	}
}

// paintPear: prickly pear, a few pads on end.
func (f *frame) paintPear(X, Z, size float64, which int) {
	d := Random(f.seed, "shrub", f.Site.Name, which)
	f.shadow(X, Z, size*2.4, size*0.6, 0.36)
	x, y, k := f.point(X, 0, Z)
	for range 5 + d.IntN(5) {
		at, up := (d.Float64()*2-1)*size*1.5*k, d.Float64()*size*0.5*k
		r := size * k * (0.34 + 0.16*d.Float64())
		p := rgb{116, 140, 96}.lit(0.78 + 0.4*d.Float64())
		lean := (d.Float64() - 0.5) * 1.4
		f.disc(x+at, y-r*0.8-up, r*0.66, r, lean, p, 1)
		f.soft(x+at-f.shadeSide()*r*0.2, y-r-up, r*0.3, r*0.5, lean, 0.9, p.lit(1.2), 0.6)
	}
}

// mound heaps leaf dabs into a bush: dark inside and below, lit on top.
func (f *frame) mound(d *rand.Rand, x, y, rx, ry float64, leaf rgb, dabs int, dab float64) {
	f.soft(x, y-ry*0.40, rx*0.86, ry*0.42, 0, 0.4, leaf.lit(0.48), 0.9)
	for i := range dabs {
		t := float64(i) / float64(dabs)
		a := d.Float64() * math.Pi
		r := math.Sqrt(d.Float64())*0.98 + 0.02
		ex := math.Cos(a) * r
		ey := math.Sin(a) * r * (0.82 + 0.18*d.Float64())
		light := 0.56 + 0.42*ey - 0.18*f.sun*ex*f.shadeSide() + 0.30*(d.Float64()-0.35) + 0.1*t
		s := dab * (0.6 + 0.8*d.Float64())
		f.disc(x+ex*rx, y-ey*ry-dab*0.3, s, s*0.72, d.Float64()*3, leaf.lit(light), 0.85)
	}
}

// tufts are the grasses near enough to be seen one by one: low sod of blue grama
// and buffalograss, and here and there a taller needle-and-thread or wheatgrass.
// Wet years bring out more of the same plants, and make them taller.
func (f *frame) tufts() []thing {
	d := Random(f.seed, "tufts", f.Site.Name)
	var all []thing
	const plants = 2400
	for i := range plants {
		Z := nearest + 22*math.Pow(d.Float64(), 1.35)
		X := (d.Float64()*2 - 1) * (Z*0.55 + 0.4)
		rank, size, tall := d.Float64(), 0.06+0.07*d.Float64(), d.Float64() < 0.09
		clump := f.Site.horizon.n.sum(X*0.33+90, Z*0.33, 3)
		if rank*1.15-0.6*(clump-0.5) > f.Cover*1.5 {
			continue
		}
		if tall {
			size *= 2.6
		}
		size *= 0.62 + 0.6*f.Cover/0.4
		all = append(all, thing{Z, func() { f.paintTuft(X, Z, size, tall, i) }})
	}
	return all
}

func (f *frame) paintTuft(X, Z, size float64, tall bool, which int) {
	d := Random(f.seed, which, f.Year)
	x, y, k := f.point(X, 0, Z)
	if x < -40 || x > width+40 {
		return
	}
	spread := 1.5 // sod lies wide
	grass := f.grass().mix(f.Site.ground, 0.12*d.Float64())
	if tall {
		spread, grass = 0.55, grass.mix(rgb{140, 152, 118}, 0.3)
	}
	f.shadow(X, Z, size*0.8*spread, size*0.6, 0.30)
	n := 6 + int(min(k*size*0.6, 24))
	wide := max(size*k*0.035, 0.9)
	for i := range n {
		lean := (d.Float64()*2 - 1)
		long := size * k * (0.65 + 0.6*d.Float64()) * (1 - 0.25*math.Abs(lean))
		x0 := x + lean*size*k*0.5*spread
		x1 := x0 + lean*size*k*0.4 + f.shadeSide()*long*0.12
		light := 0.62 + 0.5*float64(i)/float64(n) + 0.14*(d.Float64()-0.5)
		p := grass.mix(rgb{222, 202, 148}, 0.55*d.Float64()*(1-0.6*f.Green)).lit(light)
		f.curve(x0, y, x0+(x1-x0)*0.3, y-long*0.7, x1, y-long, wide, 0.5, p, 0.92)
		if Z < 9 && f.Green > 0.3 && d.Float64() < 0.14 { // a grama's head stands off its stem like a flag
			f.stroke(x1, y-long*1.25, x1+5*f.shadeSide(), y-long*1.32, 2.2, 1, rgb{172, 146, 100}, 0.9)
			f.stroke(x1, y-long, x1, y-long*1.25, 0.9, 0.7, rgb{190, 172, 116}, 0.8)
		}
	}
}

// fence runs from the foreground off into the distance: steel posts, every
// fourth one of wood, four wires.
func (f *frame) fence() []thing {
	d := Random(f.seed, "fence", f.Site.Name)
	side := 1.0
	if d.Float64() < 0.5 {
		side = -1
	}
	if f.Site.landmark == windmill || f.Site.landmark == playa {
		side = 1
	}
	X0, Z0 := side*(6.6+1.5*d.Float64()), 11.5
	dX, dZ := -side*(1.7+0.9*d.Float64()), 5.2
	type post struct{ X, Z, tall float64 }
	var posts []post
	for i := -1; i < 26; i++ {
		posts = append(posts, post{X0 + dX*float64(i), Z0 + dZ*float64(i), 1.22 + 0.08*d.Float64()})
	}
	var all []thing
	for i, p := range posts {
		all = append(all, thing{p.Z, func() {
			x, y, k := f.point(p.X, 0, p.Z)
			steel, w := rgb{84, 92, 82}, 0.05*k
			if i%4 == 0 {
				steel, w = rgb{122, 108, 92}, 0.12*k
			}
			f.stroke(x, y, x+0.01*k, y-p.tall*k, max(w, 0.7), max(w, 0.7), steel, 0.95)
			f.stroke(x-0.3*w, y, x-0.3*w, y-p.tall*k, 0.3*w, 0.3*w, steel.lit(1.35), 0.6)
			if i == 0 {
				return
			}
			q := posts[i-1]
			for _, h := range []float64{0.42, 0.66, 0.9, 1.14} {
				x0, y0, k0 := f.point(p.X, h, p.Z)
				x1, y1, k1 := f.point(q.X, h, q.Z)
				f.stroke(x0, y0, x1, y1, min(0.012*k0, 1.1), min(0.012*k1, 1.3), rgb{96, 94, 90}, 0.8)
			}
		}})
	}
	return all
}

// paintStake: the marked point itself, a steel post with an orange cap; the
// cap keeps it from being a hazard to tires, and now and then it is gone.
func (f *frame) paintStake() {
	const X, Z, tall = -1.12, 4.7, 0.98
	f.shadow(X, Z, 0.14, tall*0.5, 0.3)
	x, y, k := f.point(X, 0, Z)
	x1, y1, _ := f.point(X+0.02, tall, Z)
	w := 0.055 * k
	f.stroke(x, y, x1, y1, w, w, rgb{62, 84, 62}, 1)
	f.stroke(x-w*0.28, y, x1-w*0.28, y1, w*0.25, w*0.25, rgb{110, 136, 106}, 0.8)
	f.stroke(x1-(x1-x)*0.14, y1+(y-y1)*0.14, x1, y1, w, w, rgb{226, 224, 214}, 1)
	for i := range 9 { // the studs of a T-post
		t := float64(i)/9*0.8 + 0.04
		f.disc(x+(x1-x)*t+w*0.3, y+(y1-y)*t, w*0.2, w*0.3, 0, rgb{44, 58, 44}, 0.9)
	}
	if !f.CapMissing {
		f.fill(rgb{232, 112, 34}, 1, x1-w*0.95, y1+w*0.9, x1-w*0.75, y1-w*0.8, x1+w*0.75, y1-w*0.8, x1+w*0.95, y1+w*0.9)
		f.fill(rgb{252, 160, 84}, 0.8, x1-w*0.7, y1+w*0.7, x1-w*0.6, y1-w*0.6, x1-w*0.2, y1-w*0.6, x1-w*0.2, y1+w*0.7)
	}
}
