package ranch

import "math"

// skyAt is the color of the empty sky; up is 0 at the horizon, 1 at the top.
func (f *frame) skyAt(up float64) rgb {
	pale, deep := rgb{208, 226, 238}, rgb{74, 130, 196}
	switch f.Weather {
	case HighThin:
		pale, deep = rgb{218, 228, 234}, rgb{120, 162, 206}
	case Overcast:
		pale, deep = rgb{222, 224, 226}, rgb{168, 174, 182}
	case Storms:
		pale, deep = rgb{214, 222, 228}, rgb{92, 122, 158}
	case Dust:
		pale, deep = rgb{222, 200, 166}, rgb{168, 176, 184}
	}
	return pale.mix(deep, math.Pow(min(max(up, 0), 1), 0.72))
}

func (f *frame) paintSky() {
	for y := range int(f.horizon) + 16 { // the rest is ground
		p := f.skyAt((f.horizon - float64(y)) / f.horizon)
		for x := range width {
			f.set(x, y, p)
		}
	}
	n := newNoise(f.seed, "cloud", f.Site.Name, f.Year)
	switch f.Weather {
	case Cumulus:
		f.paintHeaps(n, 4+f.rand.IntN(4), 0)
	case HighThin:
		f.paintVeils(n)
	case Overcast:
		f.paintLid(n, 0.75)
	case Storms:
		f.paintLid(n, 0.35)
		f.paintHeaps(n, 3, 0.16)
		f.paintThunderhead(n)
	case Dust:
		f.paintDust(n)
	}
}

// paintVeils draws thin high cloud, combed out along the wind.
func (f *frame) paintVeils(n *noise) {
	lean := f.rand.Float64()*0.5 - 0.25
	for y := range int(f.horizon) {
		up := 1 - float64(y)/f.horizon
		var d float64
		for x := range width {
			if x%2 == 0 {
				u, v := float64(x)/width, float64(y)/f.horizon
				w := n.sum(u*2.2+v*0.7, v*3, 2)
				d = n.sum(u*3+w*1.4, (v+u*lean)*15+w*5, 4)
			}
			f.blend(x, y, rgb{250, 250, 250}, 0.72*step(0.42, 0.85, d)*step(0.02, 0.35, up))
		}
	}
}

// paintDust draws soil on the wind: rolls of it, thick along the horizon.
func (f *frame) paintDust(n *noise) {
	for y := range int(f.horizon) + 4 {
		up := 1 - float64(y)/f.horizon
		for x := range width {
			u := float64(x) / width
			d := n.sum(u*4+up*1.5, up*5, 3)
			f.blend(x, y, rgb{206, 182, 146}, step(0.5, 0.02, up)*(0.35+0.6*step(0.3, 0.7, d)))
		}
	}
}

// paintLid draws a ceiling of cloud seen from below, in perspective.
func (f *frame) paintLid(n *noise, much float64) {
	for y := range int(f.horizon) + 4 {
		far := unit / (f.horizon + 26*unit - float64(y))
		var d float64
		for x := range width {
			if x%2 == 0 { // cloud is soft: every other column will do
				d = n.sum((float64(x)-width/2)*far/unit*1.6+40, far*760+3, 4)
			}
			dark := rgb{156, 162, 172}.mix(rgb{236, 238, 240}, step(0.3, 0.7, d))
			f.blend(x, y, dark, much*step(0, 70*unit, f.horizon-float64(y)))
		}
	}
}

// paintHeaps draws fair-weather cumulus: puffs on a common flat base.
func (f *frame) paintHeaps(n *noise, count int, gray float64) {
	for i := range count {
		near := f.rand.Float64()
		near *= near
		base := f.horizon - (70+185*near+24*f.rand.Float64())*unit
		wide := (60 + 40*f.rand.Float64() + 190*near) * unit
		mid := (float64(i) + f.rand.Float64()) / float64(count) * width
		f.paintHeap(n, mid, base, wide, wide*(0.26+0.16*f.rand.Float64()), gray, i)
	}
}

func (f *frame) paintThunderhead(n *noise) {
	mid := width * (0.2 + 0.6*f.rand.Float64())
	base := f.horizon - 42*unit
	for i, part := range [][3]float64{{0, 210, 80}, {-20, 150, 130}, {15, 120, 185}, {0, 210, 205}} {
		f.paintHeap(n, mid+part[0]*unit, base-part[2]*0.42*unit, part[1]*unit, part[2]*0.55*unit, 0.10, 50+i)
	}
}

type puff struct{ x, y, r float64 }

func (f *frame) paintHeap(n *noise, mid, base, wide, tall, gray float64, which int) {
	var puffs []puff
	for i := range 16 {
		t := (float64(i)+f.rand.Float64())/16*2 - 1
		crown := math.Sqrt(max(1-t*t, 0))
		r := tall * (0.28 + 0.34*f.rand.Float64()) * (0.45 + 0.55*crown)
		puffs = append(puffs, puff{mid + t*wide*0.5, base - r*0.5 - (tall-r)*crown*f.rand.Float64(), r})
	}
	side := 1.0
	if f.Site.sunLeft {
		side = -1
	}
	x0, x1 := max(int(mid-wide*0.75), 0), min(int(mid+wide*0.75), width-1)
	y0, y1 := max(int(base-tall*1.7), 0), min(int(base+8), height-1)
	for y := y0; y <= y1; y++ {
		for x := x0; x <= x1; x++ {
			u, v := float64(x)/(tall*0.42)+float64(which)*11, float64(y)/(tall*0.42)
			w := n.sum(u, v, 4) - 0.5
			px, py := float64(x)+w*tall*0.30, float64(y)+w*tall*0.42
			thick, light := 0.0, 0.0
			for _, p := range puffs {
				ex, ey := (px-p.x)/p.r, (py-p.y)/p.r
				if q := 1 - ex*ex - ey*ey; q > 0 {
					thick += q
					light += q * (0.62*side*ex - 0.66*ey)
				}
			}
			if thick == 0 {
				continue
			}
			light = light/thick + 0.9*w - 0.5*step(base-tall*0.5, base, float64(y))
			p := rgb{176, 184, 198}.mix(rgb{255, 254, 250}, step(-0.75, 0.35, light)).lit(1 - gray)
			a := step(0.04, 0.42, thick) * (1 - step(base-tall*0.10, base+3, float64(y)+w*6))
			p = p.mix(f.skyAt(0.03), 0.35*(1-step(40, 190, (f.horizon-base)/unit)))
			f.blend(x, y, p.ink(), a)
		}
	}
}
