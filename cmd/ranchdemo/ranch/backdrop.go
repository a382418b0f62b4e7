package ranch

import "math"

// backdrop is what the camera finds unchanged at a site year after year, worked
// out once: the unevenness of the ground, the folds of the swells, the soil
// of the plot.
type backdrop struct {
	ground sheet // by scene column and rows below the horizon
	swells [3]sheet
	rise   [3][]float64 // the swells' heights by scene column
	soil   sheet        // of the plot, in its own square inches
}

// cell holds up to five values from 0 to 1, as bytes.
type cell [5]uint8

func (c *cell) at(i int) float64 { return float64(c[i]) * (1.0 / 255) }

// What a cell's values are.
const (
	patch, tone, shade, grain, blade = 0, 1, 2, 3, 4 // ground
	gully, brush                     = 0, 1          // swells, by rows above the horizon
	broad, fine, lift, crust         = 0, 1, 2, 3    // soil
)

// sheet is a table of cells, wide columns to a row.
type sheet struct {
	wide  int
	cells []cell
}

// Scene columns run from -margin to width+margin, so that a camera held a
// little aside still finds everything.
const (
	margin     = 24
	sceneWide  = width + 2*margin
	groundDeep = height - horizonRow + margin
	swellTall  = 80
	soilScale  = 15 // plot sheet: pixels per inch
	soilWide   = 66 * soilScale
	soilTall   = 52 * soilScale
)

func newSheet(wide, tall int, values func(x, y int) [5]float64) sheet {
	s := sheet{wide, make([]cell, wide*tall)}
	for i := range s.cells {
		for k, v := range values(i%wide, i/wide) {
			s.cells[i][k] = clamp8(float32(255 * v))
		}
	}
	return s
}

// near is the cell nearest to a point, the border's beyond it.
func (s *sheet) near(x, y int) *cell {
	x = min(max(x, 0), s.wide-1)
	i := max(y, 0)*s.wide + x
	if i >= len(s.cells) {
		i = len(s.cells) - s.wide + x
	}
	return &s.cells[i]
}

func newBackdrop(s *Site) *backdrop {
	n, k := s.horizon.n, &s.horizon
	b := new(backdrop)
	b.ground = newSheet(sceneWide, groundDeep, func(x, y int) [5]float64 {
		Z := eye * focal / (float64(y) + 0.5) // meters off, and X to the right
		X := float64(x-margin-width/2) * Z / focal
		leaf := n.at(X*24, Z*11)
		if Z > 25 { // too far for blades: brush too small to draw one by one
			leaf = n.at(float64(x-margin)/7, math.Log(Z)*26)
		}
		return [5]float64{
			patch: n.sum(X*0.33+90, Z*0.33, 3),
			tone:  n.at(X*0.9, Z*0.9+50),
			shade: n.at(X*2.2, Z*1.1+9),
			grain: n.sum(X*7+30, Z*7, 2),
			blade: leaf,
		}
	})
	side := 1.0
	if s.sunLeft {
		side = -1
	}
	for i := range k.swells {
		b.rise[i] = make([]float64, sceneWide)
		for x := range b.rise[i] {
			b.rise[i][x] = k.height(i, float64(x-margin)/unit) * unit
		}
		b.swells[i] = newSheet(sceneWide, swellTall, func(x, up int) [5]float64 {
			down := b.rise[i][x] - float64(up)
			if down < -3 {
				return [5]float64{gully: 0.5}
			}
			// a gully is where the slope turns from the sun
			u, v := float64(x-margin)/27+float64(i)*31+down*0.006, -float64(up)/31
			return [5]float64{
				gully: 0.5 + n.sum(u+0.22*side, v, 3) - n.sum(u-0.22*side, v, 3),
				brush: n.at(float64(x-margin)/3.1, float64(up)*0.62+float64(i)*7),
			}
		})
	}
	b.soil = newSheet(soilWide, soilTall, func(x, y int) [5]float64 {
		X, Y := float64(x-soilWide/2)/soilScale, float64(y-soilTall/2)/soilScale
		crumb := n.sum(X*1.1+7, Y*1.1+7, 3)
		return [5]float64{
			broad: n.sum(X*0.13+60, Y*0.13+60, 2),
			fine:  crumb,
			lift:  0.5 + (crumb-n.at(X*1.1+7-0.13*side, Y*1.1+7+0.13))/2,
			crust: step(0.58, 0.76, n.sum(X*0.33+140, Y*0.33+20, 3)),
		}
	})
	return b
}
