package ranch

import (
	"image"
	"math"
	"math/rand/v2"
	"strconv"
	"sync"

	"golang.org/x/image/font"
)

// plot is a plot picture being painted: looking straight down on a square of
// 3 by 3 feet. Its points are inches from the middle of the square.
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

// side is the square's: two six-foot folding rules, each bent once in its
// middle, go exactly round it.
const side = 36.0

// The picture's middle lies this many inches right of the square's: the board
// needs its place. Plants, stones and litter lie all over the picture.
const offside = 6.5

func anywhere(d *rand.Rand) (X, Y float64) {
	return offside + (d.Float64()-0.5)*64, (d.Float64() - 0.5) * 48
}

// Plot paints the marked square.
func Plot(seed uint64, v *Visit) image.Image {
	d := random(seed, "plot", v.Site.Name, v.Year)
	p := &plot{canvas: newCanvas(width, height), Visit: v, seed: seed, shade: -1, sun: 1}
	if v.Site.sunLeft {
		p.shade = 1
	}
	switch v.Weather {
	case Overcast:
		p.sun = 0.15
	case Storms, Smoke:
		p.sun = 0.4
	case HighThin:
		p.sun = 0.8
	}
	p.scale = (16.7 + 0.5*d.Float64()) * unit
	p.midX, p.midY = (355+d.Float64()*14)*unit, height/2+(d.Float64()*14-7)*unit
	p.turn = (d.Float64() - 0.5) * 0.045
	p.paintSoil()
	p.paintGravel()
	p.paintLitter(d)
	all := bunches(seed, v.Site)
	p.paintForbs(d)
	for i, b := range all {
		p.paintBunch(b, i)
	}
	p.paintSeedling()
	p.paintCorner()
	p.paintRules()
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
	d := random(p.seed, "cracks", p.Site.Name)
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
	d := random(p.seed, "gravel", p.Site.Name)
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
	for range int(150 + 420*p.Cover) {
		x, y := p.point(anywhere(d))
		a, l := d.Float64()*2*math.Pi, (0.3+1.3*d.Float64()*d.Float64())*p.scale
		sin, cos := math.Sincos(a)
		c := rgb{190, 172, 134}.mix(rgb{126, 114, 100}, d.Float64())
		p.stroke(x+p.shade*1.3, y+1.3, x+cos*l+p.shade*1.3, y+sin*l+1.3, 1.5, 1, rgb{60, 50, 44}, 0.4)
		p.stroke(x, y, x+cos*l, y+sin*l, 1.7, 1.1, c, 0.9)
	}
}

// paintSeedling: one saltbush took root beside the square and grows a little
// every year.
func (p *plot) paintSeedling() {
	d := random(p.seed, "seedling", p.Site.Name)
	X, Y := -22.5+2*d.Float64(), -14+28*d.Float64()
	x, y := p.point(X, Y)
	r := (1.6 + 0.17*float64(p.Year-FirstYear)) * p.scale
	p.soft(x+p.shade*r*0.25, y+r*0.2, r, r*0.95, 0, 0.4, rgb{48, 42, 38}, 0.5)
	for i := range 230 {
		a, q := d.Float64()*2*math.Pi, math.Sqrt(d.Float64())
		sin, cos := math.Sincos(a)
		c := rgb{150, 158, 132}.lit(0.6 + 0.34*float64(i)/230 + 0.25*d.Float64() - 0.12*cos*p.shade*p.sun)
		p.disc(x+cos*q*r, y+sin*q*r, r*0.10+1.4, r*0.05+1, a+d.Float64(), c, 0.95)
	}
}

// paintCorner is the stake seen end on at the square's first corner.
func (p *plot) paintCorner() {
	x, y := p.point(-side/2-1.4, -side/2-1.4)
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

// ruleArt is half a folding rule, three feet of it: inch marks, figures, and
// a rivet at each fold.
var ruleArt = sync.OnceValue(func() [2][2]*image.RGBA {
	const perInch, tall = 26, 23
	bold, _ := parsed()
	with := face(bold, 14)
	var art [2][2]*image.RGBA // rule, half
	for rule, wood := range []rgb{{238, 204, 92}, {240, 236, 222}} {
		for half := range 2 {
			c := newCanvas(36*perInch, tall)
			for y := range tall {
				for x := range 36 * perInch {
					fold := (x / (6 * perInch)) % 2
					c.set(x, y, wood.lit(1-0.05*float64(fold)-0.07*math.Abs(float64(y)-tall/2)/tall*2))
				}
			}
			ink := image.NewUniform(rgb{30, 28, 26}.rgba())
			red := image.NewUniform(rgb{186, 36, 28}.rgba())
			for q := range 36*4 + 1 {
				x, long := float64(q*perInch)/4, 3.5
				switch {
				case q%4 == 0:
					long = 9
				case q%2 == 0:
					long = 6
				}
				c.stroke(x, 0, x, long, 1.5, 1.5, rgb{30, 28, 26}, 1)
			}
			for inch := 1; inch <= 36; inch++ {
				n, with, src := half*36+inch, with, ink
				if n%12 == 0 {
					src = red
				}
				s := strconv.Itoa(n)
				w := font.MeasureString(with, s).Ceil()
				write(c, with, inch*perInch-w-2, tall-3, s, src, nil)
			}
			for fold := 0; fold <= 36; fold += 6 {
				x := float64(fold * perInch)
				c.disc(x, tall/2, 5, 5, 0, rgb{150, 118, 60}, 1)
				c.disc(x-1, tall/2-1, 3, 3, 0, rgb{222, 190, 120}, 1)
			}
			art[rule][half] = c.RGBA
		}
	}
	return art
})

// paintRules lays the two rules round the square: a yellow one along the top
// and down the right, a white one along the bottom and up the left.
func (p *plot) paintRules() {
	const thick = 0.88
	const h = side / 2
	art := ruleArt()
	for i, s := range [][6]float64{ // left top, along, across
		{-h, -h - thick, side, 0, 0, thick},
		{h + thick, -h, 0, side, -thick, 0},
		{h, h + thick, -side, 0, 0, -thick},
		{-h - thick, h, 0, -side, thick, 0},
	} {
		x, y := p.point(s[0], s[1])
		ax, ay := p.point(s[0]+s[2], s[1]+s[3])
		bx, by := p.point(s[0]+s[4], s[1]+s[5])
		mx, my := (x+bx)/2+p.shade*3.5, (y+by)/2+3.5
		p.stroke(mx, my, mx+ax-x, my+ay-y, thick*p.scale, thick*p.scale, rgb{46, 38, 34}, 0.35+0.25*p.sun)
		p.place(art[i/2][i%2], x, y, ax-x, ay-y, bx-x, by-y)
	}
}

// paintPlotBoard lays the board beside the square.
func (p *plot) paintPlotBoard(d *rand.Rand) {
	const wide, tall = 252 * unit, 169 * unit
	x, y := (694+d.Float64()*8)*unit, (500+d.Float64()*26)*unit
	tilt := (d.Float64() - 0.5) * 0.12
	p.fill(rgb{44, 38, 34}, 0.35+0.25*p.sun, x+p.shade*6, y+6, x+wide+p.shade*6, y+tilt*wide+6,
		x+wide-tilt*tall+p.shade*6, y+tilt*wide+tall+6, x-tilt*tall+p.shade*6, y+tall+6)
	p.place(boardFor(p.seed, p.Visit, "plot"), x, y, wide, tilt*wide, -tilt*tall, tall)
}
