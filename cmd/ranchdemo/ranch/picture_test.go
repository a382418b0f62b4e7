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

// grassShare is how much of the square's inside looks like grass, green or
// cured, to someone who knows only its pixels: more green in it than soil has.
func grassShare(m image.Image) float64 {
	grass, all := 0, 0
	for y := 85; y < 515; y += 2 {
		for x := 92; x < 508; x += 2 {
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

func TestGrassInTheSquareFollowsRain(t *testing.T) {
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

// agree is the share of columns where two skylines lie within five pixels, once
// the second is shifted to fit: nobody holds the camera the same way twice.
func agree(a, b []float64) float64 {
	best := 0.0
	for dx := -4; dx <= 4; dx++ {
		for dy := -12.0; dy <= 12; dy += 2 {
			hit, all := 0, 0
			for i := range a {
				if j := i + dx; j >= 0 && j < len(b) {
					all++
					if math.Abs(a[i]-b[j]-dy) <= 5 {
						hit++
					}
				}
			}
			best = max(best, float64(hit)/float64(all))
		}
	}
	return best
}

func TestSkylineStaysAndTellsSitesApart(t *testing.T) {
	dir, r := tree(t)
	lines := map[*Site][][]float64{}
	typical := map[*Site][]float64{}
	for _, v := range r.Visits {
		if !v.NoLandscape {
			lines[v.Site] = append(lines[v.Site], edge(picture(t, dir, v, "landscape")))
		}
	}
	for s, all := range lines {
		mid := make([]float64, len(all[0]))
		for i := range mid {
			var col []float64
			for _, l := range all {
				col = append(col, l[i])
			}
			slices.Sort(col)
			mid[i] = col[len(col)/2]
		}
		typical[s] = mid
	}
	for _, s := range r.Sites {
		var own []float64
		for _, l := range lines[s] {
			own = append(own, agree(typical[s], l))
		}
		slices.Sort(own)
		median := own[len(own)/2]
		other := 0.0
		for _, o := range r.Sites {
			if o != s {
				other = max(other, agree(typical[s], typical[o]))
			}
		}
		t.Logf("%s: years agree with its skyline over %.2f of the width (worst %.2f); the most alike other site %.2f", s.Name, median, own[0], other)
		if median < 0.85 || own[0] < 0.6 {
			t.Errorf("%s: years agree only %.2f with the site's skyline, worst %.2f", s.Name, median, own[0])
		}
		if other > median-0.15 {
			t.Errorf("%s: another site's skyline is nearly the same (%.2f)", s.Name, other)
		}
	}
}
