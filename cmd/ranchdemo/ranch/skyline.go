package ranch

import "math"

// skyline is what lies between the ground and the sky: on the plains three low
// swells, one behind the other, and on two sites the breaks. The heights come
// from the site's own noise and never change.
type skyline struct {
	n      *noise
	swells [3]swell // far to near
	rim    *escarpment
}

// swell rises low to high above the horizon; wave is the width of one. All in
// steps of the sheet.
type swell struct{ low, high, wave, off float64 }

// escarpment is the rim of the breaks: flat tops of one height with gaps washed
// between them, and a skirt of fallen clay below.
type escarpment struct{ from, to, tall, wave, notch float64 }

func newSkyline(seed uint64, s *Site) skyline {
	d := Random(seed, "skyline", s.Name)
	k := skyline{n: newNoise(seed, s.Name)}
	k.swells = [3]swell{
		{1 + 2*d.Float64(), 8 + 8*d.Float64(), 300 + 160*d.Float64(), 100 * d.Float64()},
		{-2, 5 + 5*d.Float64(), 360 + 160*d.Float64(), 100 + 100*d.Float64()},
		{-5, 3 + 3*d.Float64(), 420 + 160*d.Float64(), 200 + 50*d.Float64()},
	}
	switch s.far {
	case breaks:
		k.rim = &escarpment{from: -200, to: 1200, tall: 42, wave: 64, notch: 560}
	case farBreaks:
		k.rim = &escarpment{from: 70, to: 640, tall: 23, wave: 74, notch: 240}
	}
	return k
}

// height is a swell's above the horizon where the sheet's column is x; the rim
// stands on the farthest.
func (k *skyline) height(i int, x float64) float64 {
	r := k.swells[i]
	h := r.low + (r.high-r.low)*step(0.2, 0.8, k.n.sum(x/r.wave+r.off, r.off, 2))
	h += (k.n.at(x/13+r.off, 3) - 0.5) * 1.2
	if i == 0 && k.rim != nil {
		h = max(h, k.rim.height(x, k.n))
	}
	return h
}

func (r *escarpment) height(x float64, n *noise) float64 {
	t := n.sum(x/r.wave+30, 7, 2)
	h := r.tall * (0.40*step(0.12, 0.6, t) + 0.38*step(0.40, 0.47, t) + 0.22*step(0.54, 0.58, t))
	h *= 1 - 0.8*(1-step(9, 30, math.Abs(x-r.notch)))
	h *= step(r.from, r.from+90, x) * (1 - step(r.to-90, r.to, x))
	return h + (n.at(x/6, 60)-0.5)*1.6
}

// paintSwells draws the three, hazier the farther, and what stands on the
// horizon.
func (f *frame) paintSwells() {
	k := &f.Site.horizon
	grass := f.grass()
	base := [3]rgb{
		grass.mix(rgb{120, 126, 132}, 0.45).lit(0.86),
		grass.mix(rgb{128, 130, 116}, 0.30).lit(0.88),
		grass.mix(f.Site.ground, 0.30).lit(0.92),
	}
	veil := [3]float64{0.30, 0.16, 0.05}
	for i := range k.swells {
		f.paintSwell(i, base[i], veil[i]+f.haze*[3]float64{0.40, 0.30, 0.16}[i])
		if i == 0 {
			f.paintFar()
		}
	}
}

func (f *frame) paintSwell(i int, base rgb, veil float64) {
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
		foot := line + 2 // a nearer swell hides the rest
		for _, near := range back.rise[i+1:] {
			foot = min(foot, line-near[col]+2)
		}
		for y := max(int(math.Floor(top)), 0); y <= int(foot) && y < height; y++ {
			down, up := float64(y)-top, int(line)-y
			here := back.swells[i].near(col, up)
			light := 1 + f.sun*(0.35*(here.at(gully)-0.5)+0.12*slope*side)
			p := base.mix(rgb{98, 104, 82}, 0.4*step(0.62, 0.85, here.at(brush))*step(1, 5, down))
			if i == 0 && k.rim != nil {
				p, light = f.clay(p, light, sx/unit, (line-float64(y))/unit, here.at(gully))
			}
			p = p.lit(min(max(light, 0.55), 1.35)).mix(air, veil)
			f.blend(x, y, p.ink(), min(float64(y)+1-top, 1))
		}
	}
}

// clay colors the breaks: a pale rim over bands of rust and buff, cut by gullies.
func (f *frame) clay(p rgb, light, sx, up, turned float64) (rgb, float64) {
	k := &f.Site.horizon
	h := k.rim.height(sx, k.n)
	bare := step(5, 10, h) * step(0, 4, up)
	if bare == 0 {
		return p, light
	}
	band := k.n.at(sx/260, up/3.1+30)
	rock := rgb{204, 180, 142}.mix(rgb{170, 122, 94}, 1.4*band-0.35)
	rock = rock.mix(rgb{216, 202, 172}, step(k.rim.tall*0.84, k.rim.tall*0.92, up))
	rock = rock.mix(p, 0.55*(1-step(0.1, 0.5, up/h))) // grass has come up the skirt
	return p.mix(rock, bare), light + bare*(0.5*(k.n.sum(sx/7, up/70, 2)-0.5)+f.sun*0.5*(turned-0.5))
}

// farthing is what stands on the horizon, to be known by from far off.
type farthing int

const (
	swells farthing = iota
	elevator
	shelterbelt
	treeline
	farBreaks
	breaks
)

func (f *frame) paintFar() {
	air := f.skyAt(0.03)
	veil := 0.22 + 0.5*f.haze
	switch f.Site.far {
	case elevator: // grain elevator of the town, an hour's drive off
		x := 700*unit + f.shiftX
		y := f.horizonAt(x) + 1
		for _, box := range [][3]float64{{0, 13, 30}, {-15, 6, 17}, {15, 6, 17}, {28, 6, 11}, {3, 5, 37}} {
			mid, half, tall := x+box[0]*unit, box[1]*unit, box[2]*unit
			white := rgb{226, 222, 212}
			f.fill(white.lit(0.97).mix(air, veil), 1, mid-half, y, mid-half, y-tall, mid+half, y-tall, mid+half, y)
			dark := mid + half*0.4*f.shadeSide()
			f.fill(white.lit(0.62).mix(air, veil), 0.8, dark-half*0.6, y, dark-half*0.6, y-tall, dark+half*0.6, y-tall, dark+half*0.6, y)
		}
	case shelterbelt: // two rows of trees about an old farmstead
		f.farTrees(150, 390, 15, 1, rgb{76, 92, 66}.mix(air, veil))
	case treeline: // cottonwoods down the draw
		f.farTrees(360, 840, 19, 0.42, rgb{92, 116, 62}.mix(air, veil))
	}
}

// farTrees stand from one step of the sheet to another, close or with gaps.
func (f *frame) farTrees(from, to, tall, close float64, leaf rgb) {
	d := Random(f.seed, "far trees", f.Site.Name)
	for x := from; x < to; x += 5 {
		size := tall * (0.55 + 0.45*d.Float64())
		light, there := 0.8+0.35*d.Float64(), d.Float64() < close
		if !there && f.Site.horizon.n.at(x/47, 90) < 0.62 {
			continue
		}
		px := x*unit + f.shiftX
		f.soft(px, f.horizonAt(px)-size*0.42*unit, 4.6*unit, size*0.55*unit, 0, 0.25, leaf.lit(light), 0.95)
	}
}
