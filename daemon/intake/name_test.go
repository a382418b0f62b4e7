package intake

import (
	"testing"
	"time"

	"linecamp/manifest/tally"
)

// TestNames: a new picture is named as the archive names its own.
func TestNames(t *testing.T) {
	for _, c := range []struct {
		name, layout string
		have         []string
		view         string
		want         string
	}{
		{"pasture, site, date", "", []string{"Draw/Stake 3/2024-06-21/plot.jpg", "Draw/Stake 3/2024-06-21/landscape.jpg"}, "plot", "Draw/Stake 3/2026-06-24/plot.jpg"},
		{"two of a view", "", []string{"Draw/Stake 3/2024-06-21/plot.jpg", "Draw/Stake 3/2024-06-21/plot-2.jpg"}, "plot", "Draw/Stake 3/2026-06-24/plot.jpg"},
		{"a number of its own", "", []string{"Draw/Stake 3/2024-06-21/plot-2.jpg"}, "plot", "Draw/Stake 3/2026-06-24/plot-2.jpg"},
		{"capitals", "", []string{"Draw/Stake 3/2024-06-21/PLOT.JPG"}, "plot", "Draw/Stake 3/2026-06-24/PLOT.JPG"},
		{"only the year", "", []string{"Draw/Stake 3/2024/plot.jpg"}, "plot", "Draw/Stake 3/2026/plot.jpg"},
		{"no pasture", "", []string{"Stake 3/2024/plot.jpg"}, "plot", "Stake 3/2026/plot.jpg"},
		{"the year on top", "", []string{"2024/Draw/Stake 3/plot.jpg"}, "plot", "2026/Draw/Stake 3/plot.jpg"},
		{"year, then month and day", "", []string{"Draw/Stake 3/2024/06-21/plot.jpg"}, "plot", "Draw/Stake 3/2026/06-24/plot.jpg"},
		{"the date in the name", "", []string{"Draw/Stake 3/2024-06-21 plot.jpg"}, "plot", "Draw/Stake 3/2026-06-24 plot.jpg"},
		{"compact dates", "", []string{"Draw/Stake 3/20240621/plot.jpg"}, "plot", "Draw/Stake 3/20260624/plot.jpg"},
		{"cameras' names", "", []string{"Draw/Stake 3/2024-06-21/IMG_0001.JPG"}, "plot", "Draw/Stake 3/2026-06-24/IMG_0107.JPG"},
		{"a view it never had", "", []string{"Draw/Stake 3/2024-06-21/plot.jpg"}, "landscape", "Draw/Stake 3/2026-06-24/landscape.jpg"},
		{"view unsure", "", []string{"Draw/Stake 3/2024-06-21/plot.jpg"}, tally.Untold, "Draw/Stake 3/2026-06-24/IMG_0107.JPG"},
		{"a pattern", "{year}/{site}", []string{"2024/Stake 3/plot.jpg"}, "plot", "2026/Stake 3/plot.jpg"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			put(t, dir, c.have...)
			a := archiveAt(t, dir, c.layout)
			if len(a.Tally.Sites) != 1 {
				t.Fatalf("%d sites", len(a.Tally.Sites))
			}
			s := newSite(a, &a.Tally.Sites[0])
			day := time.Date(2026, 6, 24, 0, 0, 0, 0, time.UTC)
			got := wanted{s, day, c.view, "IMG_0107.JPG"}.names()
			if len(got) == 0 || got[0] != c.want {
				t.Errorf("%q, want %q first", got, c.want)
			}
			for _, p := range got {
				u := a.Layout.Understand(p)
				if u.Site != s.Site.Site || u.Pasture != s.Pasture || u.Year != 2026 {
					t.Errorf("%q is read as %+v", p, u)
				}
			}
		})
	}
}
