package years_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"linecamp/manifest/card"
	"linecamp/manifest/geo"
	"linecamp/verify"
	"linecamp/verify/draft"
	"linecamp/verify/due"
	"linecamp/verify/gather"
	"linecamp/verify/verifytest"
)

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
		s := verifytest.At(siteOf(visits), 41.4, -103.2)
		in := gather.Input{Now: last.AddDate(0, 0, rapid.IntRange(0, 400).Draw(t, "days since")), Sites: []gather.SiteItems{s}}
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
		for _, d := range draft.Cards(in) {
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
	if !testing.Short() && declared == 0 { // of a few tries, none may
		t.Error("no draft declared what a visit is to bring home")
	}
	t.Logf("%d drafts declared what a visit is to bring home", declared)
}

// A draft stands over the pasture's card, and is not to put that out of force.
func TestDraftUnderAPasturesCard(t *testing.T) {
	s := verifytest.At(verifytest.SiteWith(verifytest.Every(2004, 2024, 1, "plot")...), 41.4, -103.2)
	s.Card = card.Card{Pasture: "Mill", Expect: []card.Expect{{Since: 2010, Every: 1, Views: []string{"plot", "landscape"}}}}
	s.Position = &geo.Position{Latitude: 41.4, Longitude: -103.2}
	in := gather.Input{Now: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), Sites: []gather.SiteItems{s}}
	before := ills(in)
	d := draft.Cards(in)[0]
	c, faults := card.Decode("site.toml", []byte(d.Text))
	in.Sites[0].Card = c.Under(s.Card)
	if after := ills(in); len(faults) > 0 || len(before) == 0 || !slices.Equal(before, after) || c.Pasture != "" {
		t.Errorf("%v\nbefore %v\nafter  %v\n%s", faults, before, after, d.Text)
	}
}

// Looking further ahead never hides a visit, and a look over a year has every
// season that a site keeps each year.
func TestDueGrowsWithTheDaysAhead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := gather.Input{}
		var last []period
		for i := range rapid.IntRange(1, 3).Draw(t, "sites") {
			p := aPeriod(t, 5, fmt.Sprintf("%d:", i))
			last = append(last, p)
			visits := history(t, []period{p})
			shift := 2025 - visits[len(visits)-1].day.Year()
			for k := range visits {
				visits[k].day = visits[k].day.AddDate(shift, 0, 0)
			}
			if i == 0 {
				in.Now = visits[len(visits)-1].day.AddDate(0, 0, rapid.IntRange(-100, 500).Draw(t, "days since"))
			}
			visits = slices.DeleteFunc(visits, func(v spell) bool { return v.day.After(in.Now) })
			s := siteOf(visits)
			s.Site = fmt.Sprint(i)
			in.Sites = append(in.Sites, s)
		}
		key := func(v verify.DueVisit) string {
			return v.Site + " " + v.Opens + " " + v.Closes + fmt.Sprint(v.Lacks, v.Over)
		}
		near := rapid.IntRange(0, 400).Draw(t, "near")
		far := near + rapid.IntRange(0, 400).Draw(t, "further")
		var wide []string
		for _, v := range due.Visits(in, far).Visits {
			wide = append(wide, key(v))
		}
		for _, v := range due.Visits(in, near).Visits {
			if !slices.Contains(wide, key(v)) {
				t.Fatalf("on %s: %q within %d days and not within %d: %q", in.Now.Format(time.DateOnly), key(v), near, far, wide)
			}
		}
		year := due.Visits(in, 366)
		for i, p := range last {
			for _, day := range p.seasons {
				has := slices.ContainsFunc(year.Visits, func(v verify.DueVisit) bool {
					middle := time.Date(v.Year, 1, day, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
					return v.Site == fmt.Sprint(i) && v.Opens <= middle && middle <= v.Closes
				})
				if p.every == 1 && !has {
					t.Fatalf("on %s: site %d, %v: no season about day %d in %+v", in.Now.Format(time.DateOnly), i, p, day, year.Visits)
				}
			}
		}
	})
}
