package verify

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/card"
)

var afterAll = time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)

// stakeAt is a site visited every year (or every so many) from first to last, so
// far north of the stake; metres < 0 is without positions.
func stakeAt(name string, first, last, step int, metres float64, change ...func(*SiteItems)) SiteItems {
	s := SiteItems{Site: name, Pasture: "Windmill", Object: "windmill--" + plainName(name)}
	for y := first; y <= last; y += step {
		day := fmt.Sprintf("%d-06-21", y)
		it := shot(name+"/"+day+"/plot.jpg", day, day)
		if metres >= 0 {
			metresNorth(metres, 5)(it.File)
		}
		s.Items = append(s.Items, it)
	}
	for _, c := range change {
		c(&s)
	}
	return s
}

func TestAlikes(t *testing.T) {
	pasture := func(p string) func(*SiteItems) { return func(s *SiteItems) { s.Pasture = p } }
	carded := func(c card.Card) func(*SiteItems) { return func(s *SiteItems) { s.Card = c } }
	said := func(what, other string) func(*SiteItems) {
		return func(s *SiteItems) {
			s.Decisions = append(s.Decisions, manifest.Decision{What: what, When: afterAll, Path: "windmill--" + other})
		}
	}
	unrecorded := func(s *SiteItems) { s.Object = "" }
	is := []string{"Stake B after Stake A"}
	renamed := []string{"Stake 3 after Stake 3 old"}
	for _, tt := range []struct {
		name  string
		sites []SiteItems
		want  []string
	}{
		{"one place, one year after the other", []SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 20)}, is},
		{"in the other order", []SiteItems{stakeAt("Stake B", 2013, 2026, 1, 20), stakeAt("Stake A", 2004, 2012, 1, 0)}, is},
		{"the year the next visit was due", []SiteItems{stakeAt("Stake A", 2004, 2012, 2, 0), stakeAt("Stake B", 2014, 2026, 2, 20)}, is},
		{"a year between", []SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2014, 2026, 1, 20)}, nil},
		{"both in one year", []SiteItems{stakeAt("Stake A", 2004, 2013, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 20)}, nil},
		{"further away than is tolerated", []SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 60)}, nil},
		{"as far as the card tolerates", []SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 20, carded(card.Card{Metres: 10}))}, nil},
		{"one visit is not enough", []SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2013, 1, 20)}, nil},
		{"two visits tell no place", []SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2014, 1, 20)}, nil},
		{"one of a row of stakes", []SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 20), stakeAt("Stake C", 2004, 2026, 1, 60)}, nil},
		{"set anew twice", []SiteItems{stakeAt("Stake A", 2004, 2010, 1, 0), stakeAt("Stake B", 2011, 2018, 1, 20), stakeAt("Stake C", 2019, 2026, 1, 10)},
			[]string{"Stake B after Stake A", "Stake C after Stake B"}},
		{"retired by its card", []SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0, carded(card.Card{Retired: "2012-12-31"})), stakeAt("Stake B", 2013, 2026, 1, 20)}, nil},
		{"replaced by its card", []SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 20, carded(card.Card{Replaces: "Stake A"}))}, nil},
		{"said to be two", []SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 20, said(manifest.Apart, "stake-a"))}, nil},
		{"said to be two, on the other", []SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0, said(manifest.Apart, "stake-b")), stakeAt("Stake B", 2013, 2026, 1, 20)}, nil},
		{"said of another", []SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 20, said(manifest.Apart, "stake-z"))}, is},
		{"joined", []SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 20, said(manifest.Joined, "stake-a"))}, nil},
		{"not recorded yet", []SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0), stakeAt("Stake B", 2013, 2026, 1, 20, unrecorded)}, nil},
		{"in two pastures, by place", []SiteItems{stakeAt("Stake A", 2004, 2012, 1, 0, pasture("Mill")), stakeAt("Stake B", 2013, 2026, 1, 20)}, is},

		{"by name: old", []SiteItems{stakeAt("Stake 3 old", 2004, 2012, 1, -1), stakeAt("Stake 3", 2013, 2026, 1, -1)}, renamed},
		{"by name: new", []SiteItems{stakeAt("Stake 3", 2004, 2012, 1, -1), stakeAt("New Stake 3", 2013, 2026, 1, -1)}, []string{"New Stake 3 after Stake 3"}},
		{"by name: old and new", []SiteItems{stakeAt("Stake 3 (old)", 2004, 2012, 1, -1), stakeAt("Stake 3 NEW", 2013, 2026, 1, -1)}, []string{"Stake 3 NEW after Stake 3 (old)"}},
		{"by name: a b", []SiteItems{stakeAt("Stake 3", 2004, 2012, 1, -1), stakeAt("Stake 3b", 2013, 2026, 1, -1)}, []string{"Stake 3b after Stake 3"}},
		{"by name: spelled otherwise", []SiteItems{stakeAt("stake-3", 2004, 2012, 1, -1), stakeAt("Stake 3", 2013, 2026, 1, 20)}, []string{"Stake 3 after stake-3"}},
		{"by name: replaces", []SiteItems{stakeAt("stake 4", 2004, 2012, 1, -1), stakeAt("NEW stake 4 (replaces old)", 2013, 2026, 1, -1)}, []string{"NEW stake 4 (replaces old) after stake 4"}},
		{"by name: replaces, since this year", []SiteItems{stakeAt("stake 4", 2004, 2012, 1, -1), stakeAt("stake 4 - replaces the old one", 2013, 2013, 1, -1)}, []string{"stake 4 - replaces the old one after stake 4"}},
		{"by name: replacement of the former", []SiteItems{stakeAt("Stake 4 (former)", 2004, 2012, 1, -1), stakeAt("Stake 4 replacement", 2013, 2026, 1, -1)}, []string{"Stake 4 replacement after Stake 4 (former)"}},
		{"by name: an accent", []SiteItems{stakeAt("Cañon Gate", 2004, 2012, 1, -1), stakeAt("New Canon Gate", 2013, 2026, 1, -1)}, []string{"New Canon Gate after Cañon Gate"}},
		{"by name: both visited in the year of it", []SiteItems{stakeAt("stake 4", 2004, 2013, 1, -1), stakeAt("NEW stake 4 (replaces old)", 2013, 2026, 1, -1)}, []string{"NEW stake 4 (replaces old) after stake 4"}},
		{"by name: another's replacement", []SiteItems{stakeAt("stake 4", 2004, 2012, 1, -1), stakeAt("NEW stake 5 (replaces old)", 2013, 2026, 1, -1)}, nil},
		{"by name: replaced years before", []SiteItems{stakeAt("stake 4", 2004, 2010, 1, -1), stakeAt("NEW stake 4 (replaces old)", 2013, 2026, 1, -1)}, nil},
		{"by name: both go on", []SiteItems{stakeAt("stake 4", 2004, 2026, 1, -1), stakeAt("NEW stake 4 (replaces old)", 2013, 2026, 1, -1)}, nil},
		{"a name of such words alone", []SiteItems{stakeAt("Old", 2004, 2012, 1, -1), stakeAt("New", 2013, 2026, 1, -1)}, nil},
		{"a b beside an a", []SiteItems{stakeAt("Stake 3", 2004, 2012, 1, -1), stakeAt("Stake 3b", 2013, 2026, 1, -1), stakeAt("Stake 3a", 2013, 2026, 1, -1)}, nil},
		{"a after b", []SiteItems{stakeAt("Stake 3a", 2004, 2012, 1, -1), stakeAt("Stake 3b", 2013, 2026, 1, -1)}, nil},
		{"the old one came later", []SiteItems{stakeAt("Stake 3", 2004, 2012, 1, -1), stakeAt("Stake 3 old", 2013, 2026, 1, -1)}, nil},
		{"another number", []SiteItems{stakeAt("Stake 3", 2004, 2012, 1, -1), stakeAt("Stake 4", 2013, 2026, 1, -1)}, nil},
		{"a longer number", []SiteItems{stakeAt("Stake 3", 2004, 2012, 1, -1), stakeAt("Stake 30", 2013, 2026, 1, -1)}, nil},
		{"names that no ASCII letters are left of", []SiteItems{stakeAt("Столб 3", 2004, 2012, 1, -1), stakeAt("Пост 3", 2013, 2026, 1, -1)}, nil},
		{"the same name in two pastures", []SiteItems{stakeAt("Stake 3 old", 2004, 2012, 1, -1, pasture("Mill")), stakeAt("Stake 3", 2013, 2026, 1, -1)}, nil},
		{"by name, where places say otherwise", []SiteItems{stakeAt("Stake 3 old", 2004, 2012, 1, 500), stakeAt("Stake 3", 2013, 2026, 1, 0)}, nil},
	} {
		in := YearsInput{Now: afterAll, Sites: tt.sites}
		before := fmt.Sprint(faults(Years(in)))
		in.Join()
		var got []string
		for _, a := range Alikes(in) {
			got = append(got, a.Now.Site+" after "+a.Former.Site)
		}
		if !slices.Equal(got, tt.want) {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
		if (Report{Alike: Alikes(in)}).Wants() {
			t.Errorf("%s: asking wants a person", tt.name)
		}
		if len(got) > 0 && fmt.Sprint(faults(Years(in))) != before {
			t.Errorf("%s: asking changed the years", tt.name)
		}
	}
}

func TestJoin(t *testing.T) {
	join := func(s SiteItems, what string, at int, other string) SiteItems {
		s.Decisions = append(s.Decisions, manifest.Decision{What: what, Who: "M. Reed", When: afterAll.AddDate(0, 0, at), Path: other})
		return s
	}
	sites := func() (a, b, c SiteItems) {
		return stakeAt("A", 2004, 2010, 1, 0), stakeAt("B", 2011, 2018, 1, 20), stakeAt("C", 2019, 2026, 1, 90)
	}
	rows := func(in YearsInput) string {
		in.Join()
		n := map[string]int{}
		for _, y := range Years(in) {
			if y.State != Whole {
				return fmt.Sprintf("%+v", y)
			}
			n[y.Site]++
		}
		if f := Findings(in, nil); len(f) > 0 {
			return fmt.Sprint(told(f))
		}
		return strings.TrimPrefix(fmt.Sprint(n), "map")
	}
	a, b, c := sites()
	for _, tt := range []struct {
		name  string
		sites []SiteItems
		want  string
	}{
		{"a chain", []SiteItems{a, join(b, manifest.Joined, 0, a.Object), join(c, manifest.Joined, 1, b.Object)}, "[C:23]"},
		{"a chain, decided from its end", []SiteItems{join(c, manifest.Joined, 0, b.Object), a, join(b, manifest.Joined, 1, a.Object)}, "[C:23]"},
		{"a ring goes nowhere", []SiteItems{join(a, manifest.Joined, 2, c.Object), join(b, manifest.Joined, 0, a.Object), join(c, manifest.Joined, 1, b.Object)}, "[C:23]"},
		{"with itself, or with nobody", []SiteItems{join(join(c, manifest.Joined, 0, c.Object), manifest.Joined, 1, "gone")}, "[C:8]"},
		{"undone and joined again", []SiteItems{a, join(join(join(b, manifest.Joined, 0, a.Object), manifest.Apart, 1, a.Object), manifest.Joined, 2, a.Object), join(c, manifest.Joined, 3, b.Object)}, "[C:23]"},
	} {
		if got := rows(YearsInput{Now: afterAll, Sites: tt.sites}); got != tt.want {
			t.Errorf("%s: %s, want %s", tt.name, got, tt.want)
		}
	}
	undone := YearsInput{Now: afterAll, Sites: []SiteItems{a, join(join(b, manifest.Joined, 0, a.Object), manifest.Apart, 1, a.Object), c}}
	if undone.Join(); len(undone.Sites) != 3 || len(undone.JoinedSites()) != 0 {
		t.Errorf("undone: %+v", undone.JoinedSites())
	}
}

// Each photo of joined sites is held against the stake it was taken at.
func TestJoinedStakesKeepTheirPlaces(t *testing.T) {
	old, now := stakeAt("A", 2004, 2012, 1, 0), stakeAt("B", 2013, 2026, 1, 200)
	old.Items = append(old.Items, shot("A/far", "2008-06-21", "2008-06-21", metresNorth(400, 5)))
	now.Decisions = []manifest.Decision{{What: manifest.Joined, When: afterAll, Path: old.Object}}
	in := YearsInput{Now: afterAll, Sites: []SiteItems{old, now}}
	in.Join()
	f := Findings(in, nil)
	if len(in.Sites) != 1 || len(f) != 1 || !slices.Equal(f[0].Paths, []string{"A/far"}) {
		t.Errorf("%d sites, %q", len(in.Sites), told(f))
	}
}

// A year that is gone from the folder is brought back from the object that has it.
func TestJoinedYearIsRestoredFromItsObject(t *testing.T) {
	old, now := stakeAt("A", 2004, 2012, 1, 0), stakeAt("B", 2013, 2026, 1, 0)
	old.Items[3].Where = OnCopy
	now.Items[3].Where = OnCopy
	now.Decisions = []manifest.Decision{{What: manifest.Joined, When: afterAll, Path: old.Object}}
	in := YearsInput{Now: afterAll, Sites: []SiteItems{old, now}}
	in.Join()
	for _, y := range Years(in) {
		if want := map[int]string{2007: "[windmill--a]"}[y.Year]; (y.State == Recoverable) != (y.Year == 2007 || y.Year == 2016) || len(y.From) > 0 && fmt.Sprint(y.From) != want {
			t.Errorf("%+v", y)
		}
	}
	var b strings.Builder
	Report{Years: Years(in), Judged: true}.Print(&b)
	for _, want := range []string{"linecamp restore windmill--a --year 2007", "linecamp restore Windmill/B --year 2016"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
}

// What the earlier one's card declares holds until the later one begins.
func TestJoinedCards(t *testing.T) {
	view := func(name string, since, until int) card.View {
		return card.View{Name: name, Since: since, Until: until}
	}
	former := card.Card{FirstYear: 2004, Closed: []card.Closure{{From: "2006-01-01"}},
		Expect: []card.Expect{{Since: 2000, Every: 2}, {Since: 2015, Every: 5}},
		Views:  []card.View{view("plot", 0, 0), view("fence", 2006, 2008), view("gate", 2013, 0)}}
	present := card.Card{FirstYear: 2013, Closed: []card.Closure{{From: "2020-01-01"}},
		Expect: []card.Expect{{Since: 0, Every: 1}, {Since: 2010, Every: 3, Views: []string{"plot", "pond"}}, {Since: 2020, Every: 4}},
		Views:  []card.View{view("plot", 0, 0), view("creek", 0, 0), view("notch", 2002, 2012)}}
	bare := func(c card.Card) card.Card { return card.Card{Views: c.Views} }
	for _, tt := range []struct {
		why             string
		former, present card.Card
		began           string
		first           int
		want            string // of each year: every how many years, and the views
	}{
		{"both say all", former, present, "2013-06-21", 2004, "2005 2 plot, 2007 2 fence plot, 2012 2 plot, 2013 3 plot pond, 2019 3 plot pond, 2020 4 creek plot"},
		{"the former says nothing", card.Card{}, present, "2013-06-21", 0, "2005 1 creek notch plot, 2012 3 plot pond, 2013 3 plot pond, 2020 4 creek plot"},
		{"the present says nothing", former, card.Card{}, "2013-06-21", 2004, "2005 2 plot, 2007 2 fence plot, 2013 2 gate plot, 2015 5 gate plot"},
		{"the former has views alone", bare(former), present, "2013-06-21", 0, "2007 1 fence plot, 2012 3 plot, 2013 3 plot pond, 2020 4 creek plot"},
		{"the present has views alone", former, bare(present), "2013-06-21", 2004, "2007 2 fence plot, 2013 2 creek plot, 2015 5 creek plot"},
		{"the present one is not visited yet", former, present, "", 2004, "2005 1 creek notch plot, 2020 4 creek plot"},
		{"a first year of the whole stake", card.Card{}, card.Card{FirstYear: 2004}, "2013-06-21", 2004, ""},
		{"a first year of the present one", card.Card{}, card.Card{FirstYear: 2013}, "2013-06-21", 0, ""},
		{"a first year of the former", card.Card{FirstYear: 2004}, card.Card{}, "2013-06-21", 2004, ""},
	} {
		c := continued(tt.former, tt.present, tt.began)
		j := &judge{SiteItems: &SiteItems{Card: c}}
		var got []string
		for part := range strings.SplitSeq(tt.want, ", ") {
			var year int
			if n, _ := fmt.Sscan(part, &year); n == 0 {
				continue
			}
			every := 0
			for _, e := range c.Expected(year) {
				every = e.Every
			}
			got = append(got, fmt.Sprint(year, " ", every, " ", strings.Join(j.declaredFor(year, nil).views, " ")))
		}
		if c.FirstYear != tt.first || strings.Join(got, ", ") != tt.want {
			t.Errorf("%s: since %d (%d), each year\n  %s\nwant\n  %s", tt.why, c.FirstYear, tt.first, strings.Join(got, ", "), tt.want)
		}
		if len(c.Closed) != len(tt.former.Closed)+len(tt.present.Closed) {
			t.Errorf("%s: closed %+v", tt.why, c.Closed)
		}
	}
	if fmt.Sprint(former.Views[0], present.Expect[1].Views) != "{plot <nil>  0 0} [plot pond]" {
		t.Error("a card that was given was changed", former.Views, present.Expect)
	}
}
