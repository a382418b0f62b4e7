package findings

import (
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/card"
	"linecamp/manifest/facts"
	"linecamp/manifest/geo"
	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/gather"
	"linecamp/verify/verifytest"
	"linecamp/verify/years"
)

func unexposed(f *tally.File) { f.Exposed = false }

func findingsOf(items ...gather.Item) []verify.Finding {
	in := gather.Input{Now: time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC), Sites: []gather.SiteItems{{Site: "Stake 3", Pasture: "Windmill", Object: "windmill--stake-3", Extra: items}}}
	return Of(in, nil)
}

func TestDates(t *testing.T) {
	for _, tt := range []struct {
		name  string
		items []gather.Item
		want  []string
	}{
		{"the folder's day", []gather.Item{verifytest.Shot("a", "2019-06-21", "2019-06-21")}, nil},
		{"no date", []gather.Item{verifytest.Shot("a", "2019-06-21", "")}, nil},
		// Common practice: a visit over two days, a clock in another zone.
		{"a day off", []gather.Item{verifytest.Shot("a", "2019-06-21", "2019-06-22"), verifytest.Shot("b", "2019-06-21", "2019-06-20")}, nil},
		{"known by its year", []gather.Item{verifytest.Shot("a", "2019", "2019-02-01")}, nil},
		{"a winter's visit filed under the other year", []gather.Item{verifytest.Shot("a", "2019", "2020-01-05")}, nil},
		{"one clock error", []gather.Item{verifytest.Shot("a", "2019-06-21", "2018-06-21"), verifytest.Shot("b", "2019-06-21", "2018-06-22")},
			[]string{"clock 2019-06-21: the camera's clock was 365 days behind (it said 2018-06-21); the folder's date counts"}},
		{"a clock never set", []gather.Item{verifytest.Shot("a", "2019", "2000-01-01"), verifytest.Shot("b", "2019", "2000-01-01")},
			[]string{"clock 2019: the camera's clock said 2000-01-01 throughout; the folder's date counts"}},
		{"a clock ahead, with exposure", []gather.Item{verifytest.Shot("a", "2019-06-21", "2020-06-21")},
			[]string{"clock 2019-06-21: the camera's clock was 366 days ahead (it said 2020-06-21); the folder's date counts"}},
		{"scans", []gather.Item{verifytest.Shot("a", "1987", "2015-03-01", unexposed), verifytest.Shot("b", "1987", "2016-03-01", unexposed)},
			[]string{"scan 1987: scanned or exported in 2015-2016"}},
		{"one export beside a photo", []gather.Item{verifytest.Shot("a", "2019-06-21", "2019-06-21"), verifytest.Shot("b", "2019-06-21", "2021-01-01", unexposed)},
			[]string{"scan 2019-06-21: scanned or exported in 2021"}},
		{"some of another time", []gather.Item{verifytest.Shot("a", "2019-06-21", "2019-06-21"), verifytest.Shot("b", "2019-06-21", "2018-06-20")},
			[]string{"*misdated 2019-06-21: 1 of its 2 dated photos was taken on 2018-06-20"}},
		{"all of another visit", []gather.Item{verifytest.Shot("a", "2019-06-21", "2018-06-20"), verifytest.Shot("b", "2018-06-20", "2018-06-20")},
			[]string{"*misdated 2019-06-21: its photos were taken on 2018-06-20, as those of the visit of 2018-06-20"}},
		{"swapped", []gather.Item{verifytest.Shot("a", "2019-06-21", "2018-06-20"), verifytest.Shot("b", "2018-06-20", "2019-06-21")},
			[]string{"*swapped 2018-06-20: the photos of 2018-06-20 were taken on 2019-06-21, and those of 2019-06-21 on 2018-06-20"}},
		{"a damaged date", []gather.Item{verifytest.Shot("a", "2019-06-21", "2019-99-99")}, nil},
	} {
		if got := verifytest.Told(findingsOf(tt.items...)); !slices.Equal(got, tt.want) {
			t.Errorf("%s:\ngot  %q\nwant %q", tt.name, got, tt.want)
		}
	}
}

func TestPlaces(t *testing.T) {
	at := func(visit string, m, within float64) gather.Item {
		return verifytest.Shot(visit+"/plot.jpg", visit, visit, verifytest.MetersNorth(m, within))
	}
	here := []gather.Item{at("2015-06-21", 0, 5), at("2016-06-21", 10, 5), at("2017-06-21", -10, 0)}
	for _, tt := range []struct {
		name     string
		declared bool
		items    []gather.Item
		want     []string
	}{
		{"a few meters", false, here, nil},
		{"within the stated error", true, []gather.Item{at("2019-06-21", 90, 45)}, nil},
		{"beyond it", true, []gather.Item{at("2019-06-21", 120, 45)},
			[]string{"*elsewhere 2019-06-21: 1 photo taken 120 m from the site (the camera's position was good to 45 m); the nearest other site is Windmill / Stake 4, 880 m away"}},
		{"no error stated", true, []gather.Item{at("2019-06-21", 52, 0)},
			[]string{"*elsewhere 2019-06-21: 1 photo taken 52 m from the site; the nearest other site is Windmill / Stake 4, 948 m away"}},
		{"by the other visits' photos", false, append(slices.Clone(here), at("2018-06-21", 300, 5)),
			[]string{"*elsewhere 2018-06-21: 1 photo taken 295 m from where the other visits' photos were taken (the camera's position was good to 5 m); the nearest other site is Windmill / Stake 4, 700 m away"}},
		{"where nothing agrees", false, []gather.Item{at("2015-06-21", 0, 5), at("2016-06-21", 200, 5), at("2017-06-21", 400, 5), at("2018-06-21", 600, 5)}, nil},
		{"too few visits to tell", false, []gather.Item{at("2015-06-21", 0, 5), at("2016-06-21", 300, 5)}, nil},
	} {
		four := geo.Position{Latitude: verifytest.StakePlace.Latitude + 1000/111_050.0, Longitude: verifytest.StakePlace.Longitude}
		in := gather.Input{Now: time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC), Sites: []gather.SiteItems{
			{Site: "Stake 3", Pasture: "Windmill", Extra: tt.items}, {Site: "Stake 4", Pasture: "Windmill", Position: &four}}}
		if tt.declared {
			in.Sites[0].Position = &verifytest.StakePlace
		}
		if got := verifytest.Told(Of(in, nil)); !slices.Equal(got, tt.want) {
			t.Errorf("%s:\ngot  %q\nwant %q", tt.name, got, tt.want)
		}
	}
}

// TestTolerances: what is settable moves the line, and a site's card goes before
// the settings.
func TestTolerances(t *testing.T) {
	seasons := []gather.Item{verifytest.Shot("2021-08-04/plot.jpg", "2021-08-04", "2021-08-04")}
	june := card.Expect{Every: 1, Seasons: []card.Season{{From: card.MonthDay{Month: 6, Day: 10}, To: card.MonthDay{Month: 7, Day: 5}}}}
	away := []gather.Item{verifytest.Shot("2019-06-21/plot.jpg", "2019-06-21", "2019-06-21", verifytest.MetersNorth(70, 0))}
	for _, tt := range []struct {
		name  string
		items []gather.Item
		set   gather.Tolerance
		card  float64
		want  int
	}{
		{"30 days out, 21 tolerated", seasons, gather.Tolerance{}, 0, 1},
		{"30 days out, 29 tolerated", seasons, gather.Tolerance{SeasonDays: 29}, 0, 1},
		{"30 days out, 30 tolerated", seasons, gather.Tolerance{SeasonDays: 30}, 0, 0},
		{"70 m away, 50 tolerated", away, gather.Tolerance{}, 0, 1},
		{"70 m away, 75 tolerated", away, gather.Tolerance{Meters: 75}, 0, 0},
		{"70 m away, 65 tolerated", away, gather.Tolerance{Meters: 65}, 0, 1},
		{"70 m away, 100 by the card", away, gather.Tolerance{}, 100, 0},
		{"70 m away, 10 by the card", away, gather.Tolerance{Meters: 75}, 10, 1},
	} {
		s := gather.SiteItems{Site: "Stake 3", Extra: tt.items, Position: &verifytest.StakePlace}
		s.Card.Meters, s.Card.Expect = tt.card, []card.Expect{june}
		got := verifytest.Told(Of(gather.Input{Now: time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC), Sites: []gather.SiteItems{s}, Tolerance: tt.set}, nil))
		if len(got) != tt.want {
			t.Errorf("%s: %q", tt.name, got)
		}
	}
}

func TestPhotosOfTwoSitesSwapped(t *testing.T) {
	four := geo.Position{Latitude: verifytest.StakePlace.Latitude + 1000/111_050.0, Longitude: verifytest.StakePlace.Longitude}
	in := gather.Input{Sites: []gather.SiteItems{
		{Site: "Stake 3", Pasture: "Windmill", Position: &verifytest.StakePlace, Extra: []gather.Item{verifytest.Shot("3/a", "2019-06-21", "2019-06-21", verifytest.MetersNorth(1000, 5))}},
		{Site: "Stake 4", Pasture: "Windmill", Position: &four, Extra: []gather.Item{verifytest.Shot("4/a", "2019-06-22", "2019-06-21", verifytest.MetersNorth(0, 5))}},
	}}
	all := Of(in, nil)
	if len(all) != 1 || all[0].Kind != verify.FoundSwapped || !slices.Equal(all[0].Paths, []string{"3/a", "4/a"}) ||
		!strings.Contains(all[0].Text, "taken at Windmill / Stake 4, and those of Windmill / Stake 4, 2019-06-22 here") {
		t.Errorf("%+v", all)
	}
	// Each photo is explained where it is filed; with both, nothing is asked.
	explained := func(path string) []manifest.Decision {
		return []manifest.Decision{{What: manifest.Explained, Path: path, Why: "the boards were mixed up"}}
	}
	in.Sites[0].Decisions = explained("3/a")
	if all = Of(in, nil); len(all) != 1 || !all[0].Wants() {
		t.Errorf("half explained: %+v", all)
	}
	in.Sites[1].Decisions = explained("4/a")
	if all = Of(in, nil); len(all) != 1 || all[0].Wants() || all[0].Why != "the boards were mixed up" {
		t.Errorf("explained: %+v", all)
	}
}

func TestTwice(t *testing.T) {
	same := func(path, visit string) gather.Item {
		return verifytest.Shot(path, visit, "", func(f *tally.File) { f.SHA256 = manifest.Sum([]byte("same")) })
	}
	in := gather.Input{Sites: []gather.SiteItems{
		{Site: "A", Extra: []gather.Item{same("A/1", "2019-06-21"), same("A/2", "2019-07-21"), same("A/3", "2020-06-21")}},
		{Site: "B", Extra: []gather.Item{same("B/1", "2019-06-21"), verifytest.Shot("B/2", "2020-06-21", "")}},
	}}
	want := []string{"*twice 2019-06-21: 1 photo filed here and, byte for byte, also under A, 2020-06-21", "*twice 2019-06-21: 1 photo filed here and, byte for byte, also under B, 2019-06-21"}
	if got := verifytest.Told(Of(in, nil)); !slices.Equal(got, want) {
		t.Errorf("got %q", got)
	}
}

// A photo that was filed under another site and year as well is told of once, with
// the place it fits.
func TestTwiceIsToldOnce(t *testing.T) {
	four := geo.Position{Latitude: verifytest.StakePlace.Latitude + 1000/111_050.0, Longitude: verifytest.StakePlace.Longitude}
	copied := func(path, visit string) gather.Item {
		return verifytest.Shot(path, visit, "2019-06-21", verifytest.MetersNorth(1000, 5), func(f *tally.File) { f.SHA256 = manifest.Sum([]byte("same")) })
	}
	in := gather.Input{Sites: []gather.SiteItems{
		{Site: "Stake 3", Position: &verifytest.StakePlace, Extra: []gather.Item{verifytest.Shot("3/a", "2021-06-21", "2021-06-21", verifytest.MetersNorth(0, 5)), copied("3/b", "2021-06-21")}},
		{Site: "Stake 4", Position: &four, Extra: []gather.Item{copied("4/b", "2019-06-21")}},
	}}
	want := []string{"*twice 2021-06-21: 1 photo filed here and, byte for byte, also under Stake 4, 2019-06-21; the date and position fit there"}
	if got := verifytest.Told(Of(in, nil)); !slices.Equal(got, want) {
		t.Errorf("got %q", got)
	}
}

func TestBrokenAndEmptyAndExplained(t *testing.T) {
	cut := verifytest.Shot("a", "2019-06-21", "", func(f *tally.File) { f.Fault = "it is cut short" })
	note := gather.Item{Path: "n", Kind: manifest.KindNote, Visit: "2019-06-21", File: &tally.File{}}
	written := gather.Item{Path: "w", Kind: manifest.KindNote, Visit: "2019-06-21", File: &tally.File{Size: 1}}
	s := gather.SiteItems{Site: "A", Extra: []gather.Item{cut, note, written}}
	got := verifytest.Told(Of(gather.Input{Sites: []gather.SiteItems{s}}, nil))
	if want := []string{"*broken 2019-06-21: it is cut short", "*empty 2019-06-21: this note has nothing in it (0 bytes)"}; !slices.Equal(got, want) {
		t.Errorf("got %q", got)
	}
	s.Decisions = []manifest.Decision{{What: manifest.Explained, Path: "a", Why: "the card broke"}}
	all := Of(gather.Input{Sites: []gather.SiteItems{s}}, nil)
	if all[0].Wants() || all[0].Why != "the card broke" || !all[1].Wants() {
		t.Errorf("%+v", all)
	}
}

func TestOutOfSeason(t *testing.T) {
	visits := func(lines ...string) (items []gather.Item) {
		for _, l := range lines {
			items = append(items, verifytest.Shot(l, l, l))
		}
		return items
	}
	june := []string{"2015-06-20", "2016-06-21", "2017-06-22", "2018-06-19", "2019-06-21", "2020-06-23"}
	for _, tt := range []struct {
		name  string
		items []gather.Item
		want  []string
	}{
		{"within 21 days of it", visits(append(june, "2021-07-20")...), nil},
		{"far from it", visits(append(june, "2021-10-05")...), []string{"out of season 2021-10-05: the visit lies 92 days outside the season (2021-06-07 to 2021-07-05)"}},
		{"beside one inside it", visits(append(june, "2021-06-20", "2021-10-05")...), nil},
		{"too few to tell", visits("2019-06-20", "2020-10-05"), nil},
	} {
		if got := verifytest.Told(findingsOf(tt.items...)); !slices.Equal(got, tt.want) {
			t.Errorf("%s: got %q, want %q", tt.name, got, tt.want)
		}
	}
}

// A note in a pasture's folder serves every site below it; that nothing is in it
// is told once.
func TestAnEmptyNoteForSeveralSitesIsToldOnce(t *testing.T) {
	empty := &tally.File{Path: "Windmill/2019 notes.txt", Size: 3, Kind: manifest.KindNote, Facts: facts.Facts{Blank: true}}
	in := gather.Input{Now: time.Date(2019, 8, 1, 0, 0, 0, 0, time.UTC)}
	for _, name := range []string{"Stake 1", "Stake 2"} {
		in.Sites = append(in.Sites, gather.SiteItems{Site: name, Pasture: "Windmill",
			Extra: []gather.Item{{Path: empty.Path, Kind: manifest.KindNote, Visit: "2019", File: empty, Shared: true}}})
	}
	in.Unfiled.Extra = []gather.Item{{Path: empty.Path, Kind: manifest.KindNote, Visit: "2019", File: empty}}
	found := Of(in, years.Judge(in))
	if len(found) != 1 || found[0].Kind != verify.FoundEmpty || found[0].Site != "" || !found[0].Wants() {
		t.Errorf("%+v", found)
	}
	in.Unfiled.Decisions = []manifest.Decision{{What: manifest.Explained, Path: empty.Path, Why: "rained off"}}
	if found = Of(in, years.Judge(in)); len(found) != 1 || found[0].Wants() {
		t.Errorf("explained: %+v", found)
	}
}
