package ranch

import (
	"image"
	"math"
	"math/rand/v2"
)

// plot is a plot picture being painted: looking straight down on a hoop that lies
// on the ground. Its points are inches from the middle of the hoop.
type plot struct {
	*canvas
	*Visit
	seed  uint64
	scale float64 // pixels per inch
	midX  float64
	midY  float64
	turn  float64 // the photographer never stands quite square to it
	shade float64 // +1 shadows to the right
	sun   float64
}

// radius of a hoop of 9.6 square feet, in inches. That size is common practice,
// no source: clippings from it, in grams, times ten are pounds to the acre.
const radius = 20.98

// The picture's middle lies this many inches right of the hoop's: the board needs
// its place. Plants, stones and litter lie all over the picture.
const offside = 8.0

func anywhere(d *rand.Rand) (X, Y float64) {
	return offside + (d.Float64()-0.5)*66, (d.Float64() - 0.5) * 50
}

// Plot paints the ground at the stake, and the hoop on it.
func Plot(seed uint64, v *Visit) image.Image {
	d := Random(seed, "plot", v.Site.Name, v.Year)
	p := &plot{canvas: newCanvas(width, height), Visit: v, seed: seed, shade: -1, sun: 1}
	if v.Site.sunLeft {
		p.shade = 1
	}
	switch v.Weather {
	case Overcast:
		p.sun = 0.15
	case Storms, Dust:
		p.sun = 0.4
	case HighThin:
		p.sun = 0.8
	}
	p.scale = (15.3 + 0.4*d.Float64()) * unit
	p.midX, p.midY = (350+d.Float64()*14)*unit, height/2+(d.Float64()*10-5)*unit
	p.turn = (d.Float64() - 0.5) * 0.045
	p.paintSoil()
	p.paintGravel()
	p.paintLitter(d)
	all := plants(seed, v.Site)
	for i, b := range all {
		p.paintPlant(b, i)
	}
	p.paintForbs(d)
	p.paintPears()
	p.paintSeedling()
	p.paintStake()
	p.paintHoop()
	p.paintPlotBoard(d)
	p.develop(d)
	return p.RGBA
}

func (p *plot) point(X, Y float64) (x, y float64) {
	sin, cos := math.Sincos(p.turn)
	return p.midX + (X*cos-Y*sin)*p.scale, p.midY + (X*sin+Y*cos)*p.scale
}

// inches is point's inverse.
func (p *plot) inches(x, y float64) (X, Y float64) {
	sin, cos := math.Sincos(p.turn)
	u, v := (x-p.midX)/p.scale, (y-p.midY)/p.scale
	return u*cos + v*sin, v*cos - u*sin
}

// paintSoil: crumbs, crust and the cracks of a dry year.
func (p *plot) paintSoil() {
	back := p.Site.back()
	light := 0.97 - 0.10*p.Green
	for y := range height {
		X, Y := p.inches(0, float64(y))
		X1, Y1 := p.inches(1, float64(y))
		for x := range width {
			col := int((X+float64(x)*(X1-X)-offside)*soilScale) + soilWide/2
			row := int((Y+float64(x)*(Y1-Y))*soilScale) + soilTall/2
			here := back.soil.near(col, row)
			c := p.Site.ground.lit(light + 0.26*(here.at(broad)-0.5) +
				0.42*(here.at(fine)-0.5) + 0.5*p.sun*(here.at(lift)-0.5))
			p.set(x, y, c.mix(rgb{92, 80, 68}, 0.42*here.at(crust)))
		}
	}
	if p.Green > 0.3 {
		return
	}
	d := Random(p.seed, "cracks", p.Site.Name)
	for range 26 {
		X, Y := anywhere(d)
		a := d.Float64() * 6
		for range 7 {
			a += (d.Float64() - 0.5) * 1.6
			X1, Y1 := X+math.Cos(a)*0.9, Y+math.Sin(a)*0.9
			x0, y0 := p.point(X, Y)
			x1, y1 := p.point(X1, Y1)
			p.stroke(x0, y0, x1, y1, 1.4, 1.2, rgb{84, 68, 54}, 0.6*(1-p.Green*2))
			X, Y = X1, Y1
		}
	}
}

// paintGravel: stones stay where they are from year to year.
func (p *plot) paintGravel() {
	d := Random(p.seed, "gravel", p.Site.Name)
	for range p.Site.gravel * 3 {
		X, Y := anywhere(d)
		r := (0.09 + 0.5*math.Pow(d.Float64(), 4)) * p.scale
		flat, rot := 0.6+0.35*d.Float64(), d.Float64()*3
		c := p.Site.ground.mix(rgb{150, 146, 142}, 0.35+0.55*d.Float64()).lit(0.78 + 0.42*d.Float64())
		x, y := p.point(X, Y)
		p.soft(x+p.shade*r*0.35, y+r*0.3, r, r*flat, rot, 0.5, rgb{56, 48, 42}, 0.30+0.25*p.sun)
		p.disc(x, y, r, r*flat, rot, c, 1)
		p.soft(x-p.shade*r*0.25, y-r*0.22, r*0.55, r*flat*0.5, rot, 0.8, c.lit(1.22), 0.7)
	}
}

// paintLitter: last year's growth, lying down.
func (p *plot) paintLitter(d *rand.Rand) {
	for range int(150 + 300*p.Cover) {
		x, y := p.point(anywhere(d))
		a, l := d.Float64()*2*math.Pi, (0.3+1.3*d.Float64()*d.Float64())*p.scale
		sin, cos := math.Sincos(a)
		c := rgb{190, 172, 134}.mix(rgb{126, 114, 100}, d.Float64())
		p.stroke(x+p.shade*1.3, y+1.3, x+cos*l+p.shade*1.3, y+sin*l+1.3, 1.5, 1, rgb{60, 50, 44}, 0.4)
		p.stroke(x, y, x+cos*l, y+sin*l, 1.7, 1.1, c, 0.9)
	}
}

// paintSeedling: one saltbush took root beside the hoop and grows a little
// every year.
func (p *plot) paintSeedling() {
	d := Random(p.seed, "seedling", p.Site.Name)
	X, Y := 25.5+2*d.Float64(), -17+12*d.Float64()
	x, y := p.point(X, Y)
	r := (1.5 + 0.16*float64(p.Year-FirstYear)) * p.scale
	p.soft(x+p.shade*r*0.25, y+r*0.2, r, r*0.95, 0, 0.4, rgb{48, 42, 38}, 0.5)
	for i := range 230 {
		a, q := d.Float64()*2*math.Pi, math.Sqrt(d.Float64())
		sin, cos := math.Sincos(a)
		c := rgb{150, 158, 132}.lit(0.6 + 0.34*float64(i)/230 + 0.25*d.Float64() - 0.12*cos*p.shade*p.sun)
		p.disc(x+cos*q*r, y+sin*q*r, r*0.10+1.4, r*0.05+1, a+d.Float64(), c, 0.95)
	}
}

// paintStake is the stake seen end on, just outside the hoop.
func (p *plot) paintStake() {
	at := -(radius + 1.7) / math.Sqrt2
	x, y := p.point(at, at)
	r := p.scale // one inch
	p.soft(x+p.shade*r, y+0.7*r, 1.1*r, 0.8*r, 0.5*p.shade, 0.5, rgb{48, 42, 38}, 0.25+0.3*p.sun)
	if p.CapMissing {
		p.stroke(x-0.7*r, y, x+0.7*r, y, 0.35*r, 0.35*r, rgb{84, 104, 84}, 1)
		p.stroke(x, y, x, y+0.6*r, 0.35*r, 0.35*r, rgb{70, 90, 70}, 1)
		return
	}
	p.disc(x, y, r, r, 0, rgb{206, 92, 24}, 1)
	p.disc(x, y, 0.8*r, 0.8*r, 0, rgb{238, 122, 42}, 1)
	p.soft(x-p.shade*0.25*r, y-0.25*r, 0.35*r, 0.3*r, 0, 0.9, rgb{255, 186, 120}, 0.8)
}

// paintHoop lays the hoop: yellow pipe, a black band at each eighth, and the
// coupling that closes it at the stake.
func (p *plot) paintHoop() {
	const parts, thick = 160, 0.62
	along := func(i int, out float64) (x, y float64) {
		sin, cos := math.Sincos(float64(i)/parts*2*math.Pi - 0.75*math.Pi) // the stake's side first
		return p.point((radius+out)*cos, (radius+out)*sin)
	}
	ring := func(dx, dy, out, wide float64, a float64, color func(i int) rgb) {
		for i := range parts {
			x0, y0 := along(i, out)
			x1, y1 := along(i+1, out)
			p.stroke(x0+dx, y0+dy, x1+dx, y1+dy, wide*p.scale, wide*p.scale, color(i), a)
		}
	}
	only := func(c rgb) func(int) rgb { return func(int) rgb { return c } }
	ring(p.shade*3.5, 4, 0, thick, 0.12+0.13*p.sun, only(rgb{46, 38, 34}))
	banded := func(i int) rgb {
		switch {
		case i < 3 || i >= parts-3:
			return rgb{118, 118, 120}
		case (i+1)%(parts/8) < 2:
			return rgb{40, 38, 38}
		}
		return rgb{232, 196, 48}
	}
	ring(0, 0, 0, thick, 1, banded)
	ring(0, 0, 0.12, thick*0.3, 0.55, func(i int) rgb { return banded(i).mix(rgb{255, 252, 232}, 0.6) })
	ring(0, 0, -0.24, thick*0.18, 0.5, func(i int) rgb { return banded(i).lit(0.6) })
}

// paintPlotBoard lays the board beside the hoop.
func (p *plot) paintPlotBoard(d *rand.Rand) {
	const wide, tall = 252 * unit, 169 * unit
	x, y := (692+d.Float64()*8)*unit, (506+d.Float64()*22)*unit
	tilt := (d.Float64() - 0.5) * 0.12
	p.fill(rgb{44, 38, 34}, 0.35+0.25*p.sun, x+p.shade*6, y+6, x+wide+p.shade*6, y+tilt*wide+6,
		x+wide-tilt*tall+p.shade*6, y+tilt*wide+tall+6, x-tilt*tall+p.shade*6, y+tall+6)
	p.place(boardFor(p.seed, p.Visit, "plot"), x, y, wide, tilt*wide, -tilt*tall, tall)
}
