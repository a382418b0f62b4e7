package ranch

import (
	"image"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

func picture(t *testing.T, dir string, v *Visit, view string) image.Image {
	t.Helper()
	f, err := os.Open(filepath.Join(dir, v.Folder(), view+".jpg"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m, err := jpeg.Decode(f)
	if err != nil {
		t.Fatalf("%s %s: %v", v.Folder(), view, err)
	}
	if m.Bounds() != image.Rect(0, 0, width, height) {
		t.Fatalf("%s %s is %v", v.Folder(), view, m.Bounds())
	}
	return m
}

func at(m image.Image, x, y int) (r, g, b float64) {
	R, G, B, _ := m.At(x, y).RGBA()
	return float64(R >> 8), float64(G >> 8), float64(B >> 8)
}

// grassShare is how much of the hoop's inside looks like grass, green or
// cured, to someone who knows only its pixels: more green in it than soil has.
func grassShare(m image.Image) float64 {
	grass, all := 0, 0
	for y := 80; y < 520; y += 2 {
		for x := 80; x < 520; x += 2 {
			if (x-300)*(x-300)+(y-300)*(y-300) > 235*235 {
				continue
			}
			r, g, b := at(m, x, y)
			if (2*g-r-b)/(r+g+b+1) > 0.045 {
				grass++
			}
			all++
		}
	}
	return float64(grass) / float64(all)
}

// ranks are mean ranks, equal values sharing theirs.
func ranks(v []float64) []float64 {
	out := make([]float64, len(v))
	for i, a := range v {
		for _, b := range v {
			if b < a {
				out[i]++
			} else if b == a {
				out[i] += 0.5
			}
		}
	}
	return out
}

// correlation is Pearson's.
func correlation(a, b []float64) float64 {
	n := float64(len(a))
	var sa, sb, saa, sbb, sab float64
	for i := range a {
		sa, sb = sa+a[i], sb+b[i]
		saa, sbb, sab = saa+a[i]*a[i], sbb+b[i]*b[i], sab+a[i]*b[i]
	}
	return (sab - sa*sb/n) / math.Sqrt((saa-sa*sa/n)*(sbb-sb*sb/n))
}

func TestGrassInTheHoopFollowsRain(t *testing.T) {
	dir, r := tree(t)
	for _, s := range r.Sites {
		var rain, grass []float64
		for _, v := range r.Visits {
			if v.Site == s {
				rain = append(rain, v.Inches)
				grass = append(grass, grassShare(picture(t, dir, v, "plot")))
			}
		}
		c := correlation(ranks(rain), ranks(grass))
		t.Logf("%s: rank correlation of rain and grass %.2f, grass %.2f to %.2f", s.Name, c, slices.Min(grass), slices.Max(grass))
		if c <= 0.6 {
			t.Errorf("%s: rank correlation of rain and grass %.2f, want more than 0.6", s.Name, c)
		}
	}
}

// edge finds the skyline in pixels alone: in each column, where the picture
// darkens most from above to below.
func edge(m image.Image) []float64 {
	var line []float64
	for x := 36; x < width-36; x += 4 {
		var col [height]float64
		for y := 60; y < 290; y++ {
			r, g, b := at(m, x, y)
			r2, g2, b2 := at(m, x+1, y)
			col[y] = (r + g + b + r2 + g2 + b2) / 6
		}
		best, where := -1.0, 0
		for y := 70; y < 280; y++ {
			drop := 0.0
			for k := 1; k <= 5; k++ {
				drop += col[y-k] - col[y+k]
			}
			if drop > best {
				best, where = drop, y
			}
		}
		line = append(line, float64(where))
	}
	return line
}

// agree is the share of columns where two skylines lie within two pixels, once
// the second is shifted and tilted to fit: nobody holds the camera the same way
// twice.
func agree(a, b []float64) float64 {
	best := 0.0
	for dx := -2; dx <= 2; dx++ {
		for dy := -7.0; dy <= 7; dy += 2 {
			for tilt := -3.0; tilt <= 3; tilt += 3 { // pixels at the border
				hit, all := 0, 0
				for i := range a {
					if j := i + dx; j >= 0 && j < len(b) {
						all++
						if math.Abs(a[i]-b[j]-dy-tilt*(2*float64(i)/float64(len(a))-1)) <= 2 {
							hit++
						}
					}
				}
				best = max(best, float64(hit)/float64(all))
			}
		}
	}
	return best
}

// typical is the middle height of some skylines, column by column.
func typical(lines [][]float64) []float64 {
	mid := make([]float64, len(lines[0]))
	for i := range mid {
		var col []float64
		for _, l := range lines {
			col = append(col, l[i])
		}
		slices.Sort(col)
		mid[i] = col[len(col)/2]
	}
	return mid
}

// On the plains the line between ground and sky is nearly level, and what stands
// on it tells where one is: a picture's own site is known by it among the six,
// from the pictures of the other years alone. Blowing dust hides it, so those days
// are left out.
func TestSkylineStaysAndTellsSitesApart(t *testing.T) {
	dir, r := tree(t)
	lines := map[*Site][][]float64{}
	for _, v := range r.Visits {
		if !v.NoLandscape && v.Weather != Dust {
			lines[v.Site] = append(lines[v.Site], edge(picture(t, dir, v, "landscape")))
		}
	}
	known, all := 0, 0
	for _, s := range r.Sites {
		var own []float64
		for i, l := range lines[s] {
			all++
			others := slices.Delete(slices.Clone(lines[s]), i, i+1)
			here, elsewhere := agree(typical(others), l), 0.0
			for _, o := range r.Sites {
				if o != s {
					elsewhere = max(elsewhere, agree(typical(lines[o]), l))
				}
			}
			if own = append(own, here); here > elsewhere {
				known++
			}
		}
		slices.Sort(own)
		t.Logf("%s: years agree with its skyline over %.2f of the width (worst %.2f)", s.Name, own[len(own)/2], own[0])
		if own[len(own)/2] < 0.7 || own[0] < 0.5 {
			t.Errorf("%s: years agree only %.2f with the site's skyline, worst %.2f", s.Name, own[len(own)/2], own[0])
		}
	}
	t.Logf("%d of %d pictures are known by their skyline", known, all)
	if known*20 < all*19 {
		t.Errorf("only %d of %d pictures are known by their skyline", known, all)
	}
}
