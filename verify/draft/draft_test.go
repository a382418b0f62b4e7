package draft

import (
	"slices"
	"testing"
	"time"

	"linecamp/manifest/card"
	"linecamp/manifest/geo"
	"linecamp/verify/gather"
	"linecamp/verify/verifytest"
)

func TestDraft(t *testing.T) {
	s := verifytest.At(verifytest.SiteWith(append(verifytest.Every(2004, 2012, 1, "plot note"), verifytest.Every(2013, 2025, 1, "plot landscape note")...)...), 41.4, -103.2)
	s.Site = `Stake "3"`
	got := Cards(gather.Input{Now: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), Sites: []gather.SiteItems{s}})
	if len(got) != 1 {
		t.Fatal(got)
	}
	c, faults := card.Decode("site.toml", []byte(got[0].Text))
	if len(faults) > 0 {
		t.Fatalf("%v\n%s", faults, got[0].Text)
	}
	if c.Name != s.Site || c.FirstYear != 2004 || c.Position == nil || geo.Distance(*c.Position, geo.Position{Latitude: 41.40002, Longitude: -103.2}) > 2 {
		t.Errorf("%+v\n%s", c, got[0].Text)
	}
	if len(c.Expect) != 1 || c.Expect[0].Since != 2013 || c.Expect[0].Every != 1 || c.Expect[0].Note == nil || !*c.Expect[0].Note ||
		!slices.Equal(c.Expect[0].Views, []string{"landscape", "plot"}) || len(c.Expect[0].Seasons) != 1 {
		t.Errorf("%+v\n%s", c.Expect, got[0].Text)
	}
}

func TestDraftOfLittle(t *testing.T) {
	for _, lines := range [][]string{{"2019-06-21 plot"}, {"2019 plot", "2021 untold"}, {"2019 note"}} {
		for _, d := range Cards(gather.Input{Now: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), Sites: []gather.SiteItems{verifytest.SiteWith(lines...)}}) {
			c, faults := card.Decode("site.toml", []byte(d.Text))
			if len(faults) > 0 || len(c.Expect) > 0 || c.Position != nil || c.FirstYear != 2019 {
				t.Errorf("%v: %v %+v\n%s", lines, faults, c, d.Text)
			}
		}
	}
}
