package years_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/verify"
	"linecamp/verify/gather"
	"linecamp/verify/verifytest"
	"linecamp/verify/years"
)

func TestDeclared(t *testing.T) {
	const usual = "plot landscape note"
	late := time.Date(2026, 12, 1, 12, 0, 0, 0, time.UTC)
	for _, tt := range []struct {
		name, card string
		lines      []string
		now        string
		want       []string
	}{
		{name: "yearly, though it was visited every second year", card: "[[expect]]\nsince=2020", lines: verifytest.Every(2010, 2026, 2, usual),
			want: []string{"2021 skipped", "2023 skipped", "2025 skipped"}},
		{name: "every second year, though it was visited yearly", card: "[[expect]]\nsince=2020\nevery=2", lines: verifytest.Every(2010, 2020, 1, usual),
			want: []string{"2022 skipped", "2024 skipped", "2026 skipped"}},
		{name: "counting from the last visit", card: "[[expect]]\nsince=2020\nevery=3", lines: verifytest.Every(2010, 2019, 1, usual),
			want: []string{"2022 skipped", "2025 skipped"}},
		{name: "a late visit closes the gap", card: "[[expect]]\nevery=3", lines: []string{"2010-06-21 plot", "2014-06-21 plot", "2017-06-21 plot", "2020-06-21 plot", "2023-06-21 plot", "2026-06-21 plot"}},
		{name: "two parts", card: "[[expect]]\nsince=2010\nevery=5\n[[expect]]\nsince=2021", lines: append(verifytest.Every(2010, 2020, 5, usual), verifytest.Every(2022, 2026, 1, usual)...),
			want: []string{"2021 skipped"}},
		{name: "a site never visited", card: "[[expect]]\nsince=2025", want: []string{"2025 skipped", "2026 due"}},
		{name: "a site never visited, since nobody knows when", card: "[[expect]]\nevery=1", want: nil},
		{name: "views", card: "[[expect]]\nviews=['plot','north']", lines: verifytest.Every(2024, 2026, 1, usual),
			want: []string{"2024 short north", "2025 short north", "2026 short north"}},
		{name: "an untold photo may be the one", card: "[[view]]\nname='plot'\n[[view]]\nname='north'", lines: verifytest.Every(2025, 2026, 1, "plot untold")},
		{name: "views in their years", card: "[[view]]\nname='plot'\n[[view]]\nname='north'\nsince=2026\n[[view]]\nname='south'\nuntil=2024", lines: verifytest.Every(2024, 2026, 1, "plot"),
			want: []string{"2024 short south", "2026 short north"}},
		{name: "a habit the card does not ask for", card: "[[expect]]\nviews=['plot']\nnote=false", lines: verifytest.Replaced(verifytest.Every(2015, 2026, 1, usual), "2020", "plot")},
		{name: "a note", card: "[[expect]]\nnote=true", lines: verifytest.Every(2025, 2026, 1, "plot"), want: []string{"2025 short note", "2026 short note"}},
		{name: "closed", card: "[[closed]]\nfrom=2020-08-15\nto=2021\nreason='fire'", lines: verifytest.Without(verifytest.Every(2010, 2026, 1, usual), "2020", "2021"),
			want: []string{"2020 skipped", "2021 explained"}},
		{name: "closed still", card: "[[closed]]\nfrom=2024", lines: verifytest.Every(2010, 2023, 1, usual), want: []string{"2024 explained", "2025 explained", "2026 explained"}},
		{name: "retired", card: "retired=2023", lines: verifytest.Every(2010, 2023, 1, usual)},
		{name: "retired on a day before the season", card: "retired=2023-05-01", lines: verifytest.Every(2010, 2022, 1, usual)},
		{name: "retired on a day after it", card: "retired=2023-09-01", lines: verifytest.Every(2010, 2022, 1, usual), want: []string{"2023 skipped"}},
		{name: "first year", card: "first_year=2015", lines: append([]string{"2011-06-21 plot", "2012-06-21 plot"}, verifytest.Every(2015, 2026, 1, "plot")...)},
		{name: "a declared season is not over", card: "[[expect]]\nseasons=['10-01 to 10-31']", lines: verifytest.Every(2015, 2025, 1, "plot"), now: "2026-12-20", want: []string{"2026 due"}},
		{name: "across the new year", card: "[[expect]]\nseasons=['12-15 to 01-15']", lines: []string{"2023-12-20 plot", "2025-01-10 plot", "2025-12-28 plot"}, now: "2026-07-01", want: []string{"2026 due"}},
		{name: "two seasons, one not visited", card: "[[expect]]\nseasons=['05-01 to 05-31','09-01 to 09-30']",
			lines: []string{"2024-05-10 plot", "2024-09-10 plot", "2025-05-10 plot", "2026-05-20 plot", "2026-09-29 plot"}, now: "2027-01-15",
			want: []string{"2025 short visit of 09-01", "2027 due"}},
		{name: "two seasons, one closed", card: "[[expect]]\nseasons=['05-01 to 05-31','09-01 to 09-30']\n[[closed]]\nfrom=2025-07-01\nto=2025-12-31",
			lines: []string{"2024-05-10 plot", "2024-09-10 plot", "2025-05-10 plot", "2026-05-20 plot", "2026-09-29 plot"}},
		{name: "two seasons, their views", card: "[[expect]]\nseasons=['05-01 to 05-31']\nviews=['plot','landscape']\n[[expect]]\nseasons=['09-01 to 09-30']\nviews=['plot']\nnote=true",
			lines: []string{"2025-05-10 plot", "2025-09-10 plot note", "2026-05-20 plot landscape", "2026-09-29 plot"},
			now:   "2026-12-31", want: []string{"2025 short landscape of 05-01", "2026 short note of 09-01"}},
		{name: "two seasons, days unknown", card: "[[expect]]\nseasons=['05-01 to 05-31','09-01 to 09-30']", lines: []string{"2025 plot", "2026 plot"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			now := late
			if tt.now != "" {
				now, _ = time.Parse(time.DateOnly, tt.now)
			}
			got := verifytest.Faults(years.Judge(gather.Input{Now: now, Sites: []gather.SiteItems{verifytest.Carded(t, tt.card, tt.lines...)}}))
			if !slices.Equal(got, tt.want) {
				t.Errorf("got  %q\nwant %q", got, tt.want)
			}
		})
	}
}

// springAndFall is two visits a year, a fall left out in some.
func springAndFall(first, last int, noFall ...int) (lines []string) {
	for y := first; y <= last; y++ {
		lines = append(lines, fmt.Sprintf("%d-05-%02d plot", y, 10+y%5))
		if !slices.Contains(noFall, y) {
			lines = append(lines, fmt.Sprintf("%d-10-%02d plot", y, 1+y%5))
		}
	}
	return lines
}

func TestSeveralSeasons(t *testing.T) {
	for _, tt := range []struct {
		name, now string
		lines     []string
		want      []string
	}{
		{"both every year", "2026-12-31", springAndFall(2010, 2026), nil},
		{"one fall left out", "2027-01-20", springAndFall(2010, 2026, 2015), []string{"2015 short visit of 10-03", "2027 due"}},
		{"this fall is to come", "2026-09-01", springAndFall(2010, 2026, 2026), []string{"2026 due visit of 10-03"}},
		{"this fall is long over", "2027-02-15", springAndFall(2010, 2026, 2026), []string{"2026 short visit of 10-03", "2027 due"}},
		{"falls were given up", "2026-12-31", springAndFall(2010, 2026, 2021, 2022, 2023, 2024, 2025, 2026), nil},
		{"a few days off are no season", "2026-12-31", append(verifytest.Every(2010, 2026, 1, "plot"), "2014-10-02 plot"), nil},
		// A lasting change: nothing is years by the other period's season.
		{"June, then September", "2026-12-31", append(verifytest.Every(2008, 2016, 1, "plot"), strings.Split(strings.ReplaceAll(strings.Join(verifytest.Every(2017, 2026, 1, "plot"), "\n"), "06-21", "09-15"), "\n")...), nil},
		{"June, then September, this one due", "2026-08-01", append(verifytest.Every(2008, 2016, 1, "plot"), strings.Split(strings.ReplaceAll(strings.Join(verifytest.Every(2017, 2025, 1, "plot"), "\n"), "06-21", "09-15"), "\n")...), []string{"2026 due"}},
	} {
		now, _ := time.Parse(time.DateOnly, tt.now)
		judged := years.Judge(gather.Input{Now: now, Sites: []gather.SiteItems{verifytest.SiteWith(tt.lines...)}})
		if got := verifytest.Faults(judged); !slices.Equal(got, tt.want) {
			t.Errorf("%s: got %q, want %q", tt.name, got, tt.want)
		}
		if last := judged[len(judged)-1]; strings.HasSuffix(tt.name, "this one due") && last.Opens != "2026-09-01" {
			t.Errorf("%s: opens %s", tt.name, last.Opens)
		}
	}
}

// Each season's visit is held against that season's habit: a landscape of May is no
// landscape of October.
func TestEachSeasonHasItsHabit(t *testing.T) {
	now := time.Date(2026, 12, 31, 0, 0, 0, 0, time.UTC)
	both := func(may, october string, odd ...string) (lines []string) {
		for y := 2010; y <= 2026; y++ {
			lines = append(lines, fmt.Sprintf("%d-05-%02d %s", y, 10+y%5, may), fmt.Sprintf("%d-10-%02d %s", y, 1+y%5, october))
		}
		for i := 0; i < len(odd); i += 2 {
			for k, l := range lines {
				if strings.HasPrefix(l, odd[i]) {
					lines[k] = strings.Fields(l)[0] + " " + odd[i+1]
				}
			}
		}
		return lines
	}
	explain := func(season, view string) []manifest.Decision {
		return []manifest.Decision{{What: manifest.Explained, Why: "fog", Years: []string{"2018"}, Season: season, View: view}}
	}
	const usual = "plot landscape note"
	for _, tt := range []struct {
		name  string
		lines []string
		said  []manifest.Decision
		want  []string
	}{
		{"every visit alike", both(usual, usual), nil, nil},
		{"other pictures in October", both(usual, "plot"), nil, nil},
		{"no landscape in October", both(usual, usual, "2018-10", "plot note"), nil, []string{"2018 short landscape of 10-03"}},
		{"none in May either", both(usual, usual, "2018-10", "plot note", "2018-05", "plot note"), nil, []string{"2018 short landscape"}},
		{"no note in May, no landscape in October", both(usual, usual, "2018-10", "plot note", "2018-05", "plot landscape"), nil, []string{"2018 short note of 05-12,landscape of 10-03"}},
		{"a new habit in October", both(usual, usual, "2024-10", "plot", "2025-10", "plot", "2026-10", "plot"), nil, nil},
		{"explained", both(usual, usual, "2018-10", "plot note"), explain("", "landscape"), []string{"2018 explained landscape of 10-03"}},
		{"explained for October", both(usual, usual, "2018-10", "plot", "2018-05", "plot note"), explain("10-03", ""), []string{"2018 short landscape of 05-12"}},
		{"one explained of October's two", both(usual, usual, "2018-10", "plot"), explain("10-03", "note"), []string{"2018 short landscape of 10-03"}},
		{"explained as it is named", both(usual, usual, "2018-10", "plot"), explain("", "note of 10-03"), []string{"2018 short landscape of 10-03"}},
		{"explained for May only", both(usual, usual, "2018-10", "plot note"), explain("05-12", "landscape"), []string{"2018 short landscape of 10-03"}},
	} {
		s := verifytest.SiteWith(tt.lines...)
		s.Decisions = tt.said
		got := verifytest.Faults(years.Judge(gather.Input{Now: now, Sites: []gather.SiteItems{s}}))
		got = slices.DeleteFunc(got, func(l string) bool { return strings.HasPrefix(l, "2027") })
		if !slices.Equal(got, tt.want) {
			t.Errorf("%s: got %q, want %q", tt.name, got, tt.want)
		}
	}
}

func TestLacksView(t *testing.T) {
	for lacks, view := range map[string]string{"landscape": "landscape", "landscape of 10-03": "landscape", "1 of 4 landscape photos": "landscape",
		"1 of 4 bird box photos of 10-03": "bird box", "2 of 3 photos": "photo", "note of 10-03": "note", "visit of 10-03": "visit", "top of hill": "top of hill"} {
		y := verify.Year{Lacks: []string{"north", lacks}}
		if !y.LacksView(view) || !y.LacksView(lacks) || y.LacksView("south") {
			t.Errorf("%q is not understood", lacks)
		}
	}
}

func TestLateAndBaseline(t *testing.T) {
	now := time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)
	lines := append([]string{"1987 plot"}, append(verifytest.Every(2008, 2014, 2, "plot"), verifytest.Every(2017, 2025, 2, "plot")...)...)
	for _, y := range years.Judge(gather.Input{Now: now, Sites: []gather.SiteItems{verifytest.SiteWith(lines...)}}) {
		if want := map[int]int{2017: 2016}[y.Year]; y.Late != want {
			t.Errorf("%d is late of %d, want %d", y.Year, y.Late, want)
		}
		if y.Baseline != (y.Year == 1987) || y.State != verify.Whole {
			t.Errorf("%+v", y)
		}
	}
}

func TestSitesThatFollowEachOther(t *testing.T) {
	now := time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)
	named := func(name string, s gather.SiteItems) gather.SiteItems { s.Site = name; s.Object = name; return s }
	old := named("Stake 1", verifytest.SiteWith(verifytest.Every(2010, 2019, 1, "plot")...))
	restaked := named("Stake 1b", verifytest.Carded(t, "replaces='stake 1'", verifytest.Every(2020, 2026, 1, "plot")...))
	renamed := named("North", verifytest.Carded(t, "formerly=['Stake 9']", verifytest.Every(2020, 2026, 1, "plot")...))
	before := named("Stake 9", verifytest.SiteWith(verifytest.Every(2010, 2019, 1, "plot")...))
	in := gather.Input{Now: now, Sites: []gather.SiteItems{old, restaked, before, renamed}}
	in.JoinByCards()
	judged := years.Judge(in)
	if got := verifytest.Faults(judged); got != nil {
		t.Errorf("got %q", got)
	}
	if n := len(judged); n != 17+17 {
		t.Errorf("%d years", n)
	}
	for _, y := range judged {
		if y.Site == "Stake 9" {
			t.Errorf("%+v", y)
		}
	}
}
