package findings

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/card"
	"linecamp/verify"
	"linecamp/verify/gather"
	"linecamp/verify/verifytest"
	"linecamp/verify/years"
)

var afterAll = time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)

// stakeAt is a site visited every year (or every so many) from first to last, so
// far north of the stake; meters < 0 is without positions.
func stakeAt(name string, first, last, step int, meters float64, change ...func(*gather.SiteItems)) gather.SiteItems {
	s := gather.SiteItems{Site: name, Pasture: "Windmill", Object: "windmill--" + plainName(name)}
	for y := first; y <= last; y += step {
		day := fmt.Sprintf("%d-06-21", y)
		it := verifytest.Shot(name+"/"+day+"/plot.jpg", day, day)
		if meters >= 0 {
			verifytest.MetersNorth(meters, 5)(it.File)
		}
		s.Extra = append(s.Extra, it)
	}
	for _, c := range change {
		c(&s)
	}
	return s
}

func TestAlikes(t *testing.T) {
	pasture := func(p string) func(*gather.SiteItems) { return func(s *gather.SiteItems) { s.Pasture = p } }
	carded := func(c card.Card) func(*gather.SiteItems) { return func(s *gather.SiteItems) { s.Card = c } }
	said := func(what, other string) func(*gather.SiteItems) {
		return func(s *gather.SiteItems) {
			s.Decisions = append(s.Decisions, manifest.Decision{What: what, When: afterAll, Path: "windmill--" + other})
		}
	}
	unrecorded := func(s *gather.SiteItems) { s.Object = "" }
	is := []string{"Stake B after Stake A"}
	renamed := []string{"Stake 3 after Stake 3 old"}
	for _, tt := range []struct {
		name  string
		sites []gather.SiteItems
		want  []string
	}{
		{"one place, one year after the other", []gather.SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 20)}, is},
		{"in the other order", []gather.SiteItems{stakeAt("Stake B", 2013, 2026, 1, 20), stakeAt("Stake A", 2004, 2012, 1, 0)}, is},
		{"the year the next visit was due", []gather.SiteItems{stakeAt("Stake A", 2004, 2012, 2, 0), stakeAt("Stake B", 2014, 2026, 2, 20)}, is},
		{"a year between", []gather.SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2014, 2026, 1, 20)}, nil},
		{"both in one year", []gather.SiteItems{stakeAt("Stake A", 2004, 2013, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 20)}, nil},
		{"further away than is tolerated", []gather.SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 60)}, nil},
		{"as far as the card tolerates", []gather.SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 20, carded(card.Card{Meters: 10}))}, nil},
		{"one visit is not enough", []gather.SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2013, 1, 20)}, nil},
		{"two visits tell no place", []gather.SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2014, 1, 20)}, nil},
		{"one of a row of stakes", []gather.SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 20), stakeAt("Stake C", 2004, 2026, 1, 60)}, nil},
		{"set anew twice", []gather.SiteItems{stakeAt("Stake A", 2004, 2010, 1, 0), stakeAt("Stake B", 2011, 2018, 1, 20), stakeAt("Stake C", 2019, 2026, 1, 10)},
			[]string{"Stake B after Stake A", "Stake C after Stake B"}},
		{"retired by its card", []gather.SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0, carded(card.Card{Retired: "2012-12-31"})), stakeAt("Stake B", 2013, 2026, 1, 20)}, nil},
		{"replaced by its card", []gather.SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 20, carded(card.Card{Replaces: "Stake A"}))}, nil},
		{"said to be two", []gather.SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 20, said(manifest.Apart, "stake-a"))}, nil},
		{"said to be two, on the other", []gather.SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0, said(manifest.Apart, "stake-b")), stakeAt("Stake B", 2013, 2026, 1, 20)}, nil},
		{"said of another", []gather.SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 20, said(manifest.Apart, "stake-z"))}, is},
		{"joined", []gather.SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 20, said(manifest.Joined, "stake-a"))}, nil},
		{"not recorded yet", []gather.SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 20, unrecorded)}, nil},
		{"in two pastures, by place", []gather.SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0, pasture("Mill")), stakeAt("Stake B", 2013, 2026, 1, 20)}, is},

		{"by name: old", []gather.SiteItems{stakeAt("Stake 3 old", 2004, 2012, 1, -1), stakeAt("Stake 3", 2013, 2026, 1, -1)}, renamed},
		{"by name: new", []gather.SiteItems{stakeAt("Stake 3", 2004, 2012, 1, -1), stakeAt("New Stake 3", 2013, 2026, 1, -1)}, []string{"New Stake 3 after Stake 3"}},
		{"by name: old and new", []gather.SiteItems{stakeAt("Stake 3 (old)", 2004, 2012, 1, -1), stakeAt("Stake 3 NEW", 2013, 2026, 1, -1)}, []string{"Stake 3 NEW after Stake 3 (old)"}},
		{"by name: a b", []gather.SiteItems{stakeAt("Stake 3", 2004, 2012, 1, -1), stakeAt("Stake 3b", 2013, 2026, 1, -1)}, []string{"Stake 3b after Stake 3"}},
		{"by name: spelled otherwise", []gather.SiteItems{stakeAt("stake-3", 2004, 2012, 1, -1), stakeAt("Stake 3", 2013, 2026, 1, 20)}, []string{"Stake 3 after stake-3"}},
		{"by name: replaces", []gather.SiteItems{stakeAt("stake 4", 2004, 2012, 1, -1), stakeAt("NEW stake 4 (replaces old)", 2013, 2026, 1, -1)}, []string{"NEW stake 4 (replaces old) after stake 4"}},
		{"by name: replaces, since this year", []gather.SiteItems{stakeAt("stake 4", 2004, 2012, 1, -1), stakeAt("stake 4 - replaces the old one", 2013, 2013, 1, -1)}, []string{"stake 4 - replaces the old one after stake 4"}},
		{"by name: replacement of the former", []gather.SiteItems{stakeAt("Stake 4 (former)", 2004, 2012, 1, -1), stakeAt("Stake 4 replacement", 2013, 2026, 1, -1)}, []string{"Stake 4 replacement after Stake 4 (former)"}},
		{"by name: an accent", []gather.SiteItems{stakeAt("Cañon Gate", 2004, 2012, 1, -1), stakeAt("New Canon Gate", 2013, 2026, 1, -1)}, []string{"New Canon Gate after Cañon Gate"}},
		{"by name: both visited in the year of it", []gather.SiteItems{stakeAt("stake 4", 2004, 2013, 1, -1), stakeAt("NEW stake 4 (replaces old)", 2013, 2026, 1, -1)}, []string{"NEW stake 4 (replaces old) after stake 4"}},
		{"by name: another's replacement", []gather.SiteItems{stakeAt("stake 4", 2004, 2012, 1, -1), stakeAt("NEW stake 5 (replaces old)", 2013, 2026, 1, -1)}, nil},
		{"by name: replaced years before", []gather.SiteItems{stakeAt("stake 4", 2004, 2010, 1, -1), stakeAt("NEW stake 4 (replaces old)", 2013, 2026, 1, -1)}, nil},
		{"by name: both go on", []gather.SiteItems{stakeAt("stake 4", 2004, 2026, 1, -1), stakeAt("NEW stake 4 (replaces old)", 2013, 2026, 1, -1)}, nil},
		{"a name of such words alone", []gather.SiteItems{stakeAt("Old", 2004, 2012, 1, -1), stakeAt("New", 2013, 2026, 1, -1)}, nil},
		{"a b beside an a", []gather.SiteItems{stakeAt("Stake 3", 2004, 2012, 1, -1), stakeAt("Stake 3b", 2013, 2026, 1, -1), stakeAt("Stake 3a", 2013, 2026, 1, -1)}, nil},
		{"a after b", []gather.SiteItems{stakeAt("Stake 3a", 2004, 2012, 1, -1), stakeAt("Stake 3b", 2013, 2026, 1, -1)}, nil},
		{"the old one came later", []gather.SiteItems{stakeAt("Stake 3", 2004, 2012, 1, -1), stakeAt("Stake 3 old", 2013, 2026, 1, -1)}, nil},
		{"another number", []gather.SiteItems{stakeAt("Stake 3", 2004, 2012, 1, -1), stakeAt("Stake 4", 2013, 2026, 1, -1)}, nil},
		{"a longer number", []gather.SiteItems{stakeAt("Stake 3", 2004, 2012, 1, -1), stakeAt("Stake 30", 2013, 2026, 1, -1)}, nil},
		{"names that no ASCII letters are left of", []gather.SiteItems{stakeAt("Столб 3", 2004, 2012, 1, -1), stakeAt("Пост 3", 2013, 2026, 1, -1)}, nil},
		{"the same name in two pastures", []gather.SiteItems{stakeAt("Stake 3 old", 2004, 2012, 1, -1, pasture("Mill")), stakeAt("Stake 3", 2013, 2026, 1, -1)}, nil},
		{"by name, where places say otherwise", []gather.SiteItems{stakeAt("Stake 3 old", 2004, 2012, 1, 500), stakeAt("Stake 3", 2013, 2026, 1, 0)}, nil},
	} {
		in := gather.Input{Now: afterAll, Sites: tt.sites}
		before := fmt.Sprint(verifytest.Faults(years.Judge(in)))
		in.Join()
		var got []string
		for _, a := range Alikes(in) {
			got = append(got, a.Now.Site+" after "+a.Former.Site)
		}
		if !slices.Equal(got, tt.want) {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
		if (verify.Report{Alike: Alikes(in)}).Wants() {
			t.Errorf("%s: asking wants a person", tt.name)
		}
		if len(got) > 0 && fmt.Sprint(verifytest.Faults(years.Judge(in))) != before {
			t.Errorf("%s: asking changed the years", tt.name)
		}
	}
}

func TestJoin(t *testing.T) {
	join := func(s gather.SiteItems, what string, at int, other string) gather.SiteItems {
		s.Decisions = append(s.Decisions, manifest.Decision{What: what, Who: "M. Reed", When: afterAll.AddDate(0, 0, at), Path: other})
		return s
	}
	sites := func() (a, b, c gather.SiteItems) {
		return stakeAt("A", 2004, 2010, 1, 0), stakeAt("B", 2011, 2018, 1, 20), stakeAt("C", 2019, 2026, 1, 90)
	}
	rows := func(in gather.Input) string {
		in.Join()
		n := map[string]int{}
		for _, y := range years.Judge(in) {
			if y.State != verify.Whole {
				return fmt.Sprintf("%+v", y)
			}
			n[y.Site]++
		}
		if f := Of(in, nil); len(f) > 0 {
			return fmt.Sprint(verifytest.Told(f))
		}
		return strings.TrimPrefix(fmt.Sprint(n), "map")
	}
	a, b, c := sites()
	for _, tt := range []struct {
		name  string
		sites []gather.SiteItems
		want  string
	}{
		{"a chain", []gather.SiteItems{a, join(b, manifest.Joined, 0, a.Object), join(c, manifest.Joined, 1, b.Object)}, "[C:23]"},
		{"a chain, decided from its end", []gather.SiteItems{join(c, manifest.Joined, 0, b.Object), a, join(b, manifest.Joined, 1, a.Object)}, "[C:23]"},
		{"a ring goes nowhere", []gather.SiteItems{join(a, manifest.Joined, 2, c.Object), join(b, manifest.Joined, 0, a.Object), join(c, manifest.Joined, 1, b.Object)}, "[C:23]"},
		{"with itself, or with nobody", []gather.SiteItems{join(join(c, manifest.Joined, 0, c.Object), manifest.Joined, 1, "gone")}, "[C:8]"},
		{"undone and joined again", []gather.SiteItems{a, join(join(join(b, manifest.Joined, 0, a.Object), manifest.Apart, 1, a.Object), manifest.Joined, 2, a.Object), join(c, manifest.Joined, 3, b.Object)}, "[C:23]"},
	} {
		if got := rows(gather.Input{Now: afterAll, Sites: tt.sites}); got != tt.want {
			t.Errorf("%s: %s, want %s", tt.name, got, tt.want)
		}
	}
	undone := gather.Input{Now: afterAll, Sites: []gather.SiteItems{a, join(join(b, manifest.Joined, 0, a.Object), manifest.Apart, 1, a.Object), c}}
	if undone.Join(); len(undone.Sites) != 3 || len(undone.JoinedSites()) != 0 {
		t.Errorf("undone: %+v", undone.JoinedSites())
	}
}

// Each photo of joined sites is held against the stake it was taken at.
func TestJoinedStakesKeepTheirPlaces(t *testing.T) {
	old, now := stakeAt("A", 2004, 2012, 1, 0), stakeAt("B", 2013, 2026, 1, 200)
	old.Extra = append(old.Extra, verifytest.Shot("A/far", "2008-06-21", "2008-06-21", verifytest.MetersNorth(400, 5)))
	now.Decisions = []manifest.Decision{{What: manifest.Joined, When: afterAll, Path: old.Object}}
	in := gather.Input{Now: afterAll, Sites: []gather.SiteItems{old, now}}
	in.Join()
	f := Of(in, nil)
	if len(in.Sites) != 1 || len(f) != 1 || !slices.Equal(f[0].Paths, []string{"A/far"}) {
		t.Errorf("%d sites, %q", len(in.Sites), verifytest.Told(f))
	}
}

// A year that is gone from the folder is brought back from the object that has it.
func TestJoinedYearIsRestoredFromItsObject(t *testing.T) {
	old, now := stakeAt("A", 2004, 2012, 1, 0), stakeAt("B", 2013, 2026, 1, 0)
	old.Extra[3].Where = gather.OnCopy
	now.Extra[3].Where = gather.OnCopy
	now.Decisions = []manifest.Decision{{What: manifest.Joined, When: afterAll, Path: old.Object}}
	in := gather.Input{Now: afterAll, Sites: []gather.SiteItems{old, now}}
	in.Join()
	for _, y := range years.Judge(in) {
		if want := map[int]string{2007: "[windmill--a]"}[y.Year]; (y.State == verify.Recoverable) != (y.Year == 2007 || y.Year == 2016) || len(y.From) > 0 && fmt.Sprint(y.From) != want {
			t.Errorf("%+v", y)
		}
	}
}
