// Package sky tells whether a picture shows sky, from its pixels alone. Call [Look].
//
// A landscape picture has sky along its top; a plot picture looks down on the
// ground and has none. Sky is bright for its picture, smooth, and either blue
// or without color, and it begins at the top edge and reaches down without a
// break. So the picture is made very small, and for each of its columns it is
// counted how far such pixels reach down from the top. Many columns with a
// deep reach are sky; next to none are ground; between the two the answer is
// that nothing can be said, since a wrong one costs more than none.
package sky

import (
	"image"
	"math"

	"golang.org/x/image/draw"
)

// What a picture shows.
const (
	Sky    = "sky"
	Ground = "ground"
	Unsure = "unsure"
)

const (
	across = 48 // size of the small picture
	down   = 36
)

// Look says what img shows. It must stand upright.
func Look(img image.Image) string {
	share, evenness := Measure(img)
	switch {
	case share >= 0.55:
		return Sky
	case share <= 0.06 && evenness >= 0.6:
		return Ground
	}
	return Unsure
}

// Measure gives the two figures that Look decides by: the share of the
// picture's columns that begin with sky, 0 to 1, and how rough its top is
// compared with its lower half, near 1 where the ground fills the picture.
// Both are NaN, which satisfies neither answer, for a picture too small to tell.
func Measure(img image.Image) (share, evenness float64) {
	b := img.Bounds()
	if b.Dx() < across || b.Dy() < down {
		return math.NaN(), math.NaN()
	}
	// In two steps: the first takes pixels here and there and is quick, the
	// second averages, so that gravel does not look smooth or sky rough.
	big := image.NewRGBA(image.Rect(0, 0, min(b.Dx(), across*8), min(b.Dy(), down*8)))
	draw.ApproxBiLinear.Scale(big, big.Bounds(), img, b, draw.Src, nil)
	small := image.NewRGBA(image.Rect(0, 0, across, down))
	draw.BiLinear.Scale(small, small.Bounds(), big, big.Bounds(), draw.Src, nil)
	p := newPixels(small)
	// How rough the picture is as it was, tile by tile: grass averages to
	// something smooth.
	rough := roughness(big)
	deep := 0
	for x := range across {
		if p.reach(x, rough) >= down/12 {
			deep++
		}
	}
	top, bottom := mean(rough[:down/6]), mean(rough[down/2:])
	return float64(deep) / across, (top + 0.1) / (bottom + 0.1)
}

func mean(rows [][across]float64) float64 {
	sum := 0.0
	for _, row := range rows {
		for _, v := range row {
			sum += v
		}
	}
	return sum / float64(len(rows)*across)
}

type pixels struct {
	r, g, b, light [down][across]float64
	usual          float64 // mean light of the lower half
}

func newPixels(m *image.RGBA) *pixels {
	p := &pixels{}
	for y := range down {
		for x := range across {
			c := m.RGBAAt(x, y)
			p.r[y][x], p.g[y][x], p.b[y][x] = float64(c.R), float64(c.G), float64(c.B)
			l := 0.299*p.r[y][x] + 0.587*p.g[y][x] + 0.114*p.b[y][x] // ITU-R BT.601
			p.light[y][x] = l
			if y >= down/2 {
				p.usual += l
			}
		}
	}
	p.usual /= across * down / 2
	return p
}

// reach counts how many pixels of a column, from the top, are sky.
func (p *pixels) reach(x int, rough *[down][across]float64) int {
	y := 0
	for y < down && p.sky(x, y, rough[y][x]) {
		y++
	}
	return y
}

func (p *pixels) sky(x, y int, rough float64) bool {
	r, g, b, l := p.r[y][x], p.g[y][x], p.b[y][x], p.light[y][x]
	if rough > 7 {
		return false
	}
	blue := b > r+12 && b >= g && l > 60
	pale := l > 150 && l > p.usual*1.12 && b >= r-12
	return blue || pale
}

// roughness is the mean difference of neighboring pixels' light, for each
// pixel of the small picture.
func roughness(m *image.RGBA) *[down][across]float64 {
	var out [down][across]float64
	w, h := m.Rect.Dx(), m.Rect.Dy()
	light := func(x, y int) float64 {
		c := m.RGBAAt(x, y)
		return 0.299*float64(c.R) + 0.587*float64(c.G) + 0.114*float64(c.B)
	}
	for ty := range down {
		for tx := range across {
			sum, n := 0.0, 0
			for y := ty * h / down; y < (ty+1)*h/down; y++ {
				for x := tx * w / across; x < (tx+1)*w/across; x++ {
					l := light(x, y)
					if x+1 < w {
						sum += math.Abs(l - light(x+1, y))
						n++
					}
					if y+1 < h {
						sum += math.Abs(l - light(x, y+1))
						n++
					}
				}
			}
			if n > 0 {
				out[ty][tx] = sum / float64(n)
			}
		}
	}
	return &out
}
