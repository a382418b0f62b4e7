package intake

import (
	"fmt"
	"testing"

	"linecamp/manifest/card"
)

// TestDeclaredSites: a site that has a card and no photo yet is a site; its card
// says where it is, and how far from there still is at it.
func TestDeclaredSites(t *testing.T) {
	for _, c := range []struct {
		name string
		card string  // of the new stake, which is 1000 m east of the reference
		set  float64 // by the archive's settings
		near float64 // by a person
		east float64 // where the picture was taken
		want string
	}{
		{"at it", "", 0, 0, 1010, "New Stake"},
		{"beside it", "", 0, 0, 1070, ""},
		{"beside it, by its card", "meters = 80\n", 0, 0, 1070, "New Stake"},
		{"beside it, by the settings", "", 80, 0, 1070, "New Stake"},
		{"its card before the settings", "meters = 20\n", 80, 0, 1070, ""},
		{"a person before its card", "meters = 20\n", 0, 80, 1070, "New Stake"},
		{"a person before the settings", "", 80, 20, 1070, ""},
	} {
		dir := t.TempDir()
		put(t, dir, "Draw/Stake 3/2024-06-21/plot.jpg", fmt.Sprintf("Draw/New Stake/site.toml=latitude = 0.0\nlongitude = %.8f\n%s[[view]]\nname = \"plot\"\n", east_(1000).lon, c.card))
		a := archiveAt(t, dir, "")
		a.Cards, a.Near = card.Read(a.Tally), c.set
		var sites []*site
		for i := range a.Tally.Sites {
			s := newSite(a, &a.Tally.Sites[i])
			if c.near > 0 {
				s.near = 0
			}
			sites = append(sites, s)
		}
		near := c.near
		if near == 0 {
			near = defaultNear
		}
		g := groups([]*shot{at("2026-06-24 10:00", c.east)}, sites, near)
		got := ""
		if g[0].site != nil {
			got = g[0].site.Site.Site
			if v := g[0].site.views; len(v) != 1 || v[0] != "plot" {
				t.Errorf("%s: views %v", c.name, v)
			}
		}
		if len(sites) != 2 || got != c.want {
			t.Errorf("%s: %q of %d sites, want %q; %s", c.name, got, len(sites), c.want, g[0].why)
		}
	}
}
