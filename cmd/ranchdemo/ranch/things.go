package ranch

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// thing stands on the ground Z metres off; farther things are painted first.
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

// shadow darkens the ground beside something wide and tall metres big.
func (f *frame) shadow(X, Z, wide, tall, strength float64) {
	x, y, k := f.point(X+f.shadeSide()*(wide*0.3+tall*0.28), 0, Z)
	f.soft(x, y, (wide*0.6+tall*0.3)*k, max(wide*0.5*k*eye/Z*1.3, 0.8), 0, 0.6, rgb{54, 46, 42}, strength*(0.2+0.8*f.sun))
}

// shrubs are saltbush and sage. They grow about a hand's width in ten years.
func (f *frame) shrubs() []thing {
	d := random(f.seed, "shrubs", f.Site.Name)
	var all []thing
	for i := range 92 {
		Z := 9.5 + 85*math.Pow(d.Float64(), 1.4)
		X := (d.Float64()*2 - 1) * (Z*0.56 + 1)
		size := (0.28 + 0.42*d.Float64()) * (1 + 0.022*float64(f.Year-FirstYear)*(0.5+d.Float64()))
		sage := d.Float64() < 0.35
		if math.Abs(X+1.1) < 0.9 && Z < 14 {
			continue // keep the line of sight past the stake clear
		}
		all = append(all, thing{Z, func() { f.paintShrub(X, Z, size, sage, i) }})
	}
	return all
}

func (f *frame) paintShrub(X, Z, size float64, sage bool, which int) {
	d := random(f.seed, "shrub", f.Site.Name, which) // the same bush every year
	f.shadow(X, Z, size*1.5, size, 0.42)
	leaf := rgb{146, 150, 118}
	if sage {
		leaf = rgb{132, 146, 134}
	}
	leaf = leaf.mix(rgb{128, 146, 92}, 0.35*f.Green)
	x, y, k := f.point(X, 0, Z)
	f.mound(d, x, y, size*0.85*k, size*0.95*k, leaf, 26+int(min(k*size*2.2, 190)), max(0.05*k*size*1.6, 0.8))
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

// tufts are the bunchgrasses near enough to be seen one by one. Wet years
// bring out more of the same plants, and make them taller.
func (f *frame) tufts() []thing {
	d := random(f.seed, "tufts", f.Site.Name)
	var all []thing
	const plants = 1900
	for i := range plants {
		Z := nearest + 27*math.Pow(d.Float64(), 1.25)
		X := (d.Float64()*2 - 1) * (Z*0.55 + 0.4)
		rank, size := d.Float64(), 0.10+0.16*d.Float64()
		clump := f.Site.horizon.n.sum(X*0.33+90, Z*0.33, 3)
		if rank*1.25-0.5*(clump-0.5) > f.Cover*1.75 {
			continue
		}
		size *= 0.62 + 0.75*f.Cover/0.4
		all = append(all, thing{Z, func() { f.paintTuft(X, Z, size, i) }})
	}
	return all
}

func (f *frame) paintTuft(X, Z, size float64, which int) {
	d := random(f.seed, which, f.Year)
	x, y, k := f.point(X, 0, Z)
	if x < -40 || x > width+40 {
		return
	}
	f.shadow(X, Z, size*0.8, size*0.7, 0.34)
	grass := f.grass().mix(f.Site.ground, 0.12*d.Float64())
	n := 5 + int(min(k*size*0.55, 26))
	wide := max(size*k*0.035, 0.9)
	for i := range n {
		lean := (d.Float64()*2 - 1)
		long := size * k * (0.65 + 0.6*d.Float64()) * (1 - 0.25*math.Abs(lean))
		x0 := x + lean*size*k*0.16
		x1 := x + lean*size*k*0.62 + f.shadeSide()*long*0.10
		light := 0.62 + 0.5*float64(i)/float64(n) + 0.14*(d.Float64()-0.5)
		p := grass.mix(rgb{222, 202, 148}, 0.55*d.Float64()*(1-0.6*f.Green)).lit(light)
		f.curve(x0, y, x0+(x1-x0)*0.3, y-long*0.7, x1, y-long, wide, 0.5, p, 0.92)
		if Z < 9 && f.Green > 0.3 && d.Float64() < 0.12 { // seed heads of a good year
			f.disc(x1, y-long, 1.4, 4, (x1-x0)/long, rgb{196, 172, 116}, 0.9)
		}
	}
}

// fence runs from the foreground off into the distance: steel posts, every
// fourth one of wood, four wires.
func (f *frame) fence() []thing {
	d := random(f.seed, "fence", f.Site.Name)
	side := 1.0
	if d.Float64() < 0.5 {
		side = -1
	}
	if f.Site.landmark == windmill || f.Site.landmark == juniper {
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
