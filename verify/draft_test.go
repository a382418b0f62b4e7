package verify

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/card"
	"linecamp/manifest/facts"
	"linecamp/manifest/geo"
	"linecamp/manifest/tally"

	"pgregory.net/rapid"
)

// at gives every photo of a site a position near a point.
func (s SiteItems) at(lat, long float64) SiteItems {
	for i := range s.Items {
		s.Items[i].File = &tally.File{Path: s.Items[i].Path, Size: 9, SHA256: manifest.Sum([]byte(s.Items[i].Path)), Facts: facts.Facts{Exposed: true,
			At: &geo.Fix{Position: geo.Position{Latitude: lat + float64(i%5)*1e-5, Longitude: long}}}}
	}
	return s
}

func TestDraft(t *testing.T) {
	s := siteWith(append(every(2004, 2012, 1, "plot note"), every(2013, 2025, 1, "plot landscape note")...)...).at(41.4, -119.2)
	s.Site = `Stake "3"`
	got := Drafts(YearsInput{Now: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), Sites: []SiteItems{s}})
	if len(got) != 1 {
		t.Fatal(got)
	}
	c, faults := card.Decode("site.toml", []byte(got[0].Text))
	if len(faults) > 0 {
		t.Fatalf("%v\n%s", faults, got[0].Text)
	}
	if c.Name != s.Site || c.FirstYear != 2004 || c.Position == nil || geo.Distance(*c.Position, geo.Position{Latitude: 41.40002, Longitude: -119.2}) > 2 {
		t.Errorf("%+v\n%s", c, got[0].Text)
	}
	if len(c.Expect) != 1 || c.Expect[0].Since != 2013 || c.Expect[0].Every != 1 || c.Expect[0].Note == nil || !*c.Expect[0].Note ||
		!slices.Equal(c.Expect[0].Views, []string{"landscape", "plot"}) || len(c.Expect[0].Seasons) != 1 {
		t.Errorf("%+v\n%s", c.Expect, got[0].Text)
	}
}

// A draft stands over the pasture's card, and is not to put that out of force.
func TestDraftUnderAPasturesCard(t *testing.T) {
	s := siteWith(every(2004, 2024, 1, "plot")...).at(41.4, -119.2)
	s.Card = card.Card{Pasture: "Mill", Expect: []card.Expect{{Since: 2010, Every: 1, Views: []string{"plot", "landscape"}}}}
	s.Position = &geo.Position{Latitude: 41.4, Longitude: -119.2}
	in := YearsInput{Now: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), Sites: []SiteItems{s}}
	before := ills(in)
	d := Drafts(in)[0]
	c, faults := card.Decode("site.toml", []byte(d.Text))
	in.Sites[0].Card = c.Under(s.Card)
	if after := ills(in); len(faults) > 0 || len(before) == 0 || !slices.Equal(before, after) || c.Pasture != "" {
		t.Errorf("%v\nbefore %v\nafter  %v\n%s", faults, before, after, d.Text)
	}
}

func TestDraftOfLittle(t *testing.T) {
	for _, lines := range [][]string{{"2019-06-21 plot"}, {"2019 plot", "2021 untold"}, {"2019 note"}} {
		for _, d := range Drafts(YearsInput{Now: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), Sites: []SiteItems{siteWith(lines...)}}) {
			c, faults := card.Decode("site.toml", []byte(d.Text))
			if len(faults) > 0 || len(c.Expect) > 0 || c.Position != nil || c.FirstYear != 2019 {
				t.Errorf("%v: %v %+v\n%s", lines, faults, c, d.Text)
			}
		}
	}
}

// A card as drafted reads without fault, and changes nothing of what is found,
// whatever the site's habits and whatever it lacks.
func TestADraftChangesNothing(t *testing.T) {
	declared := 0
	rapid.Check(t, func(t *rapid.T) {
		var periods []period
		for i := range rapid.IntRange(1, 2).Draw(t, "periods") {
			periods = append(periods, aPeriod(t, 3, fmt.Sprintf("%d:", i)))
		}
		visits := history(t, periods)
		last := visits[len(visits)-1].day
		for range rapid.IntRange(0, 3).Draw(t, "lacking") { // visits, or what they brought
			if i := rapid.IntRange(0, len(visits)-1).Draw(t, "visit"); len(visits[i].words) > 1 && rapid.Bool().Draw(t, "part") {
				visits[i].words = visits[i].words[1:]
			} else if len(visits) > 1 {
				visits = slices.Delete(visits, i, i+1)
			}
		}
		s := siteOf(visits).at(41.4, -119.2)
		in := YearsInput{Now: last.AddDate(0, 0, rapid.IntRange(0, 400).Draw(t, "days since")), Sites: []SiteItems{s}}
		kinds := func() (all []string) { // the days of a season move by one or two: a card has whole days
			for _, f := range ills(in) {
				if kind, _, found := strings.Cut(f, " the visit lies"); found {
					f = kind
				}
				all = append(all, f)
			}
			return all
		}
		before := kinds()
		for _, d := range Drafts(in) {
			c, faults := card.Decode("site.toml", []byte(d.Text))
			if len(faults) > 0 {
				t.Fatalf("%v\n%s", faults, d.Text)
			}
			if len(c.Expect) > 0 {
				declared++
			}
			in.Sites[0].Card, in.Sites[0].Position = c, c.Position
			if after := kinds(); !slices.Equal(before, after) {
				t.Fatalf("before %v\nafter  %v\n%s\nvisits %v", before, after, d.Text, days(visits))
			}
			if strings.Contains(d.Text, "\t") {
				t.Fatalf("a tab in\n%s", d.Text)
			}
		}
	})
	if declared == 0 {
		t.Error("no draft declared what a visit is to bring home")
	}
	t.Logf("%d drafts declared what a visit is to bring home", declared)
}
