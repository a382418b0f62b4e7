package ranch

import "math"

// skyline is what makes a view known at sight: three ridges, one behind the
// other, whose heights come from the site's own noise and never change.
type skyline struct {
	n      *noise
	ridges [3]ridge // far to near
	buttes []butte
}

// ridge rises low to high above the horizon; wave is the width of one swell. All
// in steps of the sheet.
type ridge struct{ low, high, wave, off float64 }

// butte stands on the far ridge: a flat top with a cliff and a skirt of talus.
type butte struct{ mid, top, tall float64 }

func newSkyline(seed uint64, s *Site) skyline {
	d := random(seed, "skyline", s.Name)
	k := skyline{n: newNoise(seed, s.Name)}
	k.ridges = [3]ridge{
		{30 + 15*d.Float64(), 105 + 45*d.Float64(), 230 + 90*d.Float64(), 100 * d.Float64()},
		{6 + 8*d.Float64(), 62 + 22*d.Float64(), 260 + 120*d.Float64(), 100 + 100*d.Float64()},
		{-4, 26 + 12*d.Float64(), 330 + 120*d.Float64(), 200 + 50*d.Float64()},
	}
	if s.landmark == buttes {
		k.ridges[0].high -= 45
		k.buttes = []butte{{mid: 385, top: 62, tall: 150}, {mid: 590, top: 40, tall: 128}}
	}
	return k
}

// height is a ridge's above the horizon where the sheet's column is x.
func (k *skyline) height(i int, x float64) float64 {
	r := k.ridges[i]
	u := x/r.wave + r.off
	// folded noise makes crests where plain noise would make domes
	fold := 1 - math.Abs(2*k.n.sum(u, r.off, 2)-1)
	h := 0.55*k.n.sum(u*1.7, r.off+9, 5) + 0.45*fold*fold
	h = r.low + (r.high-r.low)*step(0.18, 0.82, h)
	h += (k.n.at(u*23, 3) - 0.5) * (2.5 + 0.035*h)
	if i == 0 {
		for _, b := range k.buttes {
			h = max(h, b.height(x, k.n))
		}
	}
	return h
}

func (b butte) height(x float64, n *noise) float64 {
	d := math.Abs(x-b.mid) + (n.at(x/9, 40)-0.5)*5
	cliff := b.tall * 0.46
	switch {
	case d < b.top:
		return b.tall + (n.at(x/21, 50)-0.5)*7
	case d < b.top+6:
		return b.tall - (d-b.top)/6*cliff
	default:
		return b.tall - cliff - (d-b.top-6)*0.62
	}
}

// paintRidges draws the three, hazier the farther, with spurs and gullies lit
// from the sun's side and brush on the nearest.
func (f *frame) paintRidges() {
	k := &f.Site.horizon
	dry := rgb{176, 158, 120}.mix(rgb{146, 152, 96}, f.Green*0.9)
	base := [3]rgb{
		f.Site.ground.mix(rgb{96, 104, 128}, 0.62).lit(0.80),
		f.Site.ground.mix(rgb{112, 112, 104}, 0.45).lit(0.84),
		dry.mix(f.Site.ground, 0.35).lit(0.9),
	}
	veil := [3]float64{0.34, 0.16, 0.04}
	for i := range k.ridges {
		f.paintRidge(i, base[i], veil[i]+f.haze*[3]float64{0.26, 0.22, 0.12}[i])
	}
}

func (f *frame) paintRidge(i int, base rgb, veil float64) {
	k, back := &f.Site.horizon, f.Site.back()
	air := f.skyAt(0.03)
	side := 1.0
	if f.Site.sunLeft {
		side = -1
	}
	for x := range width {
		sx := f.sceneX(float64(x))
		col := int(math.Round(sx)) + margin
		line := f.horizonAt(float64(x))
		rise := back.rise[i]
		top := line - rise[col]
		slope := (rise[col+4] - rise[col-4]) / 8
		foot := line + 2 // a nearer ridge hides the rest
		for _, near := range back.rise[i+1:] {
			foot = min(foot, line-near[col]+2)
		}
		for y := max(int(math.Floor(top)), 0); y <= int(foot) && y < height; y++ {
			down, up := float64(y)-top, int(line)-y
			here := back.ridges[i].near(col, up)
			turned := 2 * (here.at(gully) - 0.5)
			fade := step(0, 30, down)
			light := 1 + f.sun*(0.75*turned*(0.35+0.65*fade)+0.22*slope*side*(1-0.6*fade))
			p := base
			if i == 0 && len(k.buttes) > 0 {
				p = f.cliff(p, sx/unit, (line-float64(y))/unit)
			}
			if i > 0 {
				p = p.mix(rgb{88, 94, 74}, 0.62*step(0.62, 0.85, here.at(brush))*step(1, 6, down))
			}
			p = p.lit(min(max(light, 0.5), 1.4))
			// air thickens toward the foot of each ridge
			p = p.mix(air, veil*(0.75+0.25*step(0, 60, down)))
			f.blend(x, y, p.ink(), min(float64(y)+1-top, 1))
		}
	}
}

// cliff colours a butte: banded rimrock under the flat top, and below it a
// skirt of fallen rock that fades into the ridge.
func (f *frame) cliff(p rgb, sx, up float64) rgb {
	n := f.Site.horizon.n
	for _, b := range f.Site.horizon.buttes {
		out := math.Abs(sx-b.mid) - b.top
		foot := b.tall * (0.52 + 0.10*(n.at(sx/11, 70)-0.5))
		skirt := step(95, 0, out) * step(0.12*b.tall, 0.5*b.tall, up)
		p = p.mix(rgb{150, 112, 98}, 0.75*skirt)
		if wall := step(foot-3, foot+3, up) * step(9, 5, out); wall > 0 {
			band := n.at(sx/220, up/5+30)
			crack := n.sum(sx/7, up/70, 2)
			rock := rgb{182, 126, 98}.mix(rgb{140, 96, 84}, 1.4*band-0.3).lit(0.66 + 0.56*crack)
			p = p.mix(rock, wall)
		}
	}
	return p
}
