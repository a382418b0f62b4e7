package verify

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/manifest"
)

// site makes items from lines "DATE view view note": what each visit has. "-" in
// front of a word means it is on a copy only, "!" that it is nowhere.
func siteWith(lines ...string) SiteItems {
	s := SiteItems{Site: "Stake 3", Pasture: "Windmill", Object: "windmill--stake-3"}
	for _, l := range lines {
		words := strings.Fields(l)
		for i, w := range words[1:] {
			it := Item{Visit: words[0], Kind: manifest.KindPhoto}
			switch w[0] {
			case '-':
				it.Where, w = OnCopy, w[1:]
			case '!':
				it.Where, w = Nowhere, w[1:]
			}
			it.View = w
			if w == "note" {
				it.Kind, it.View = manifest.KindNote, ""
			}
			if w == "card" {
				it.Kind, it.View = manifest.KindCard, ""
			}
			it.Path = fmt.Sprintf("%s/%d %s", words[0], i, w)
			s.Items = append(s.Items, it)
		}
	}
	return s
}

// every makes one line a year from first to last.
func every(first, last, step int, what string) []string {
	var out []string
	for y := first; y <= last; y += step {
		out = append(out, fmt.Sprintf("%d-06-21 %s", y, what))
	}
	return out
}

// faults writes all years that are not whole: "2011 short landscape".
func faults(years []Year) []string {
	var out []string
	for _, y := range years {
		if y.State != Whole {
			out = append(out, strings.TrimSpace(fmt.Sprintf("%d %s %s", y.Year, y.State, strings.Join(y.Lacks, ","))))
		}
	}
	return out
}

func TestYears(t *testing.T) {
	const usual = "plot landscape note"
	late := time.Date(2026, 12, 1, 12, 0, 0, 0, time.UTC) // every June season is long over
	for _, tt := range []struct {
		name  string
		lines []string
		now   time.Time
		want  []string
	}{
		{name: "nothing", lines: nil, want: nil},
		{name: "yearly and complete", lines: every(2009, 2026, 1, usual), want: nil},
		{name: "one year without landscape", lines: replaced(every(2009, 2026, 1, usual), "2015", "plot note"), want: []string{"2015 short landscape"}},
		{name: "one year without note", lines: replaced(every(2009, 2026, 1, usual), "2015", "plot landscape"), want: []string{"2015 short note"}},
		{name: "one year with only a note", lines: replaced(every(2009, 2026, 1, usual), "2015", "note"), want: []string{"2015 short landscape,plot"}},
		{name: "the first year lacks a view", lines: replaced(every(2009, 2026, 1, usual), "2009", "plot note"), want: []string{"2009 short landscape"}},
		{name: "the second of three lacks a view", lines: replaced(every(2024, 2026, 1, usual), "2025", "plot note"), want: []string{"2025 short landscape"}},
		{name: "two visits tell no habit", lines: replaced(every(2025, 2026, 1, usual), "2026", "plot"), want: nil},
		{name: "landscapes began in 2012", lines: append(every(2009, 2011, 1, "plot"), every(2012, 2026, 1, "plot landscape")...), want: nil},
		{name: "landscapes ended in 2020", lines: append(every(2009, 2020, 1, "plot landscape"), every(2021, 2026, 1, "plot")...), want: nil},
		{name: "a view now and then is no habit", lines: replaced(replaced(every(2015, 2022, 1, "plot landscape"), "2016", "plot"), "2019", "plot north"), now: time.Date(2022, 12, 1, 0, 0, 0, 0, time.UTC),
			want: []string{"2016 short landscape", "2019 short landscape"}},
		{name: "untold views only", lines: every(2009, 2026, 1, "untold untold"), want: nil},
		{name: "an untold photo may be the one lacking", lines: replaced(every(2009, 2026, 1, usual), "2015", "plot untold note"), want: nil},
		{name: "but not two", lines: replaced(every(2009, 2026, 1, "plot landscape north note"), "2015", "plot untold note"), want: []string{"2015 short landscape"}},
		{name: "one photo where there are always two", lines: replaced(every(2009, 2026, 1, "untold untold"), "2015", "untold"), want: []string{"2015 short 1 of 2 photos"}},
		{name: "one photo, where two are no habit yet", lines: replaced(every(2024, 2026, 1, "untold untold"), "2025", "untold"), want: nil},
		{name: "three landscapes where there are always four", lines: replaced(every(2009, 2026, 1, "plot landscape landscape landscape landscape"), "2015", "plot landscape landscape landscape"), want: []string{"2015 short 1 of 4 landscape photos"}},
		{name: "the fourth may be the one of unknown view", lines: replaced(every(2009, 2026, 1, "plot landscape landscape landscape landscape"), "2015", "plot landscape landscape landscape untold"), want: nil},
		{name: "four landscapes, and three from 2024 on", lines: append(every(2009, 2023, 1, "landscape landscape landscape landscape"), every(2024, 2026, 1, "landscape landscape landscape")...), want: nil},
		{name: "a habit of seven years between two others, broken in its fourth", lines: append(append(replaced(every(2010, 2016, 1, "plot landscape"), "2013", "plot"), every(2003, 2009, 1, "plot")...), every(2017, 2026, 1, "plot")...),
			want: []string{"2013 short landscape"}},
		{name: "a second visit in one June", lines: append(every(2009, 2026, 1, "untold untold"), "2015-06-05 untold", "2016-06-05 untold untold"), want: nil},
		{name: "more photos now and then", lines: replaced(replaced(every(2009, 2026, 1, "untold untold"), "2015", "untold untold untold"), "2020", "untold untold untold untold"), want: nil},
		{name: "as many as it happens", lines: replaced(replaced(replaced(every(2011, 2019, 1, "untold untold untold"), "2012", "untold untold"), "2014", "untold untold"), "2017", "untold untold untold untold"),
			now: time.Date(2019, 12, 1, 0, 0, 0, 0, time.UTC), want: nil},
		{name: "two photos, and one from 2020 on", lines: append(every(2009, 2019, 1, "untold untold"), every(2020, 2026, 1, "untold")...), want: nil},
		{name: "a second visit in the year has the view", lines: append(replaced(every(2009, 2026, 1, usual), "2015", "plot note"), "2015-09-01 landscape"), want: nil},
		{name: "a skipped year", lines: without(every(2009, 2026, 1, usual), "2014"), want: []string{"2014 skipped"}},
		{name: "two skipped years", lines: without(every(2009, 2026, 1, usual), "2014", "2015"), want: []string{"2014 skipped", "2015 skipped"}},
		{name: "the last year", lines: every(2009, 2025, 1, usual), want: []string{"2026 skipped"}},
		{name: "nothing for three years", lines: every(2009, 2023, 1, usual), want: []string{"2024 skipped", "2025 skipped", "2026 skipped"}},
		{name: "every second year", lines: every(2010, 2026, 2, usual), want: nil},
		{name: "every second year, not due", lines: every(2009, 2025, 2, usual), want: nil},
		{name: "every second year, one skipped", lines: without(every(2010, 2026, 2, usual), "2016"), want: []string{"2016 skipped"}},
		{name: "every second year, one late", lines: append(every(2008, 2014, 2, usual), every(2017, 2025, 2, usual)...), want: nil},
		{name: "yearly, then every second year", lines: append(every(2009, 2015, 1, usual), every(2017, 2025, 2, usual)...), want: nil},
		{name: "every second year, then yearly", lines: append(every(2003, 2013, 2, usual), every(2014, 2026, 1, usual)...), want: nil},
		{name: "every fifth year", lines: every(2006, 2026, 5, usual), want: nil},
		{name: "a baseline long before", lines: append([]string{"1987 plot"}, every(2010, 2026, 1, usual)...), want: nil},
		{name: "a single visit", lines: []string{"2019-06-21 plot landscape"}, want: nil},
		{name: "two visits, the next not made", lines: every(2024, 2025, 1, usual), want: []string{"2026 skipped"}},
		{name: "two visits with a gap", lines: []string{"2020-06-21 plot", "2023-06-21 plot"}, now: time.Date(2024, 12, 1, 0, 0, 0, 0, time.UTC), want: nil},
		{name: "a clock in the future", lines: append(every(2009, 2026, 1, usual), "2099-06-21 plot"), want: nil},
		{name: "no longer in the working folder", lines: replaced(every(2009, 2026, 1, usual), "2015", "-plot -landscape -note"),
			want: []string{"2015 recoverable 2015-06-21/0 plot,2015-06-21/1 landscape,2015-06-21/2 note"}},
		{name: "a part of it", lines: replaced(every(2009, 2026, 1, usual), "2015", "plot -landscape note"), want: []string{"2015 recoverable 2015-06-21/1 landscape"}},
		{name: "lost", lines: replaced(every(2009, 2026, 1, usual), "2015", "plot !landscape -note"), want: []string{"2015 lost 2015-06-21/1 landscape"}},
		{name: "years only, gone over", lines: []string{"2023 plot", "2024 plot", "2025 plot"}, now: time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC), want: []string{"2026 due"}},
		{name: "years only, grace over", lines: []string{"2022 plot", "2023 plot", "2024 plot"}, now: time.Date(2026, 4, 1, 0, 0, 0, 0, time.UTC), want: []string{"2025 skipped", "2026 due"}},
		{name: "cards are no visit's view", lines: replaced(every(2009, 2026, 1, usual), "2015", usual+" card"), want: nil},
		{name: "spring and fall, this fall to come", lines: append(every(2015, 2025, 1, "plot"), "2015-10-01 plot", "2016-10-02 plot", "2017-10-03 plot", "2018-10-01 plot", "2019-10-01 plot",
			"2020-10-01 plot", "2021-10-01 plot", "2022-10-01 plot", "2023-10-01 plot", "2024-10-01 plot", "2025-10-01 plot"), now: time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC), want: []string{"2026 due"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			now := tt.now
			if now.IsZero() {
				now = late
			}
			got := faults(Years(YearsInput{Now: now, Sites: []SiteItems{siteWith(tt.lines...)}}))
			if !slices.Equal(got, tt.want) {
				t.Errorf("got  %q\nwant %q", got, tt.want)
			}
		})
	}
}

// replaced gives one year's line other words.
func replaced(lines []string, year, what string) []string {
	for i, l := range lines {
		if strings.HasPrefix(l, year) {
			lines[i] = strings.Fields(l)[0] + " " + what
		}
	}
	return lines
}

func without(lines []string, years ...string) []string {
	return slices.DeleteFunc(lines, func(l string) bool {
		return slices.ContainsFunc(years, func(y string) bool { return strings.HasPrefix(l, y) })
	})
}

// The visits are all on 21 June, so the season is 7 June to 5 July, and the
// grace of 90 days ends on 3 October.
func TestDueAndSkipped(t *testing.T) {
	for _, tt := range []struct{ day, want string }{
		{"2026-01-01", "2026 due"},
		{"2026-06-21", "2026 due"},
		{"2026-10-03", "2026 due"},
		{"2026-10-04", "2026 skipped"},
		{"2026-12-31", "2026 skipped"},
	} {
		now, _ := time.Parse(time.DateOnly, tt.day)
		years := Years(YearsInput{Now: now, Sites: []SiteItems{siteWith(every(2009, 2025, 1, "plot")...)}})
		if got := faults(years); !slices.Equal(got, []string{tt.want}) {
			t.Errorf("on %s: %q, want %q", tt.day, got, tt.want)
		}
		last := years[len(years)-1]
		if last.State == Due && (last.Opens != "2026-06-07" || last.Closes != "2026-07-05") {
			t.Errorf("season %s to %s", last.Opens, last.Closes)
		}
		if last.Wants() != (last.State == Skipped) {
			t.Errorf("%s wants %v", last.State, last.Wants())
		}
	}
}

// What a visit lacks this year can still be put right while its season lasts.
func TestShortIsDueInSeason(t *testing.T) {
	lines := append(every(2009, 2025, 1, "plot landscape"), "2026-06-20 plot")
	for _, tt := range []struct{ day, want string }{
		{"2026-06-25", "2026 due landscape"},
		{"2026-11-01", "2026 short landscape"},
	} {
		now, _ := time.Parse(time.DateOnly, tt.day)
		if got := faults(Years(YearsInput{Now: now, Sites: []SiteItems{siteWith(lines...)}})); !slices.Equal(got, []string{tt.want}) {
			t.Errorf("on %s: %q", tt.day, got)
		}
	}
}

func TestSeasonAcrossNewYear(t *testing.T) {
	lines := []string{"2018-12-28 plot", "2019-12-30 plot", "2021-01-03 plot", "2021-12-29 plot", "2022-12-28 plot", "2023-12-30 plot", "2024-12-29 plot", "2025-12-30 plot"}
	now, _ := time.Parse(time.DateOnly, "2026-03-01")
	if got := faults(Years(YearsInput{Now: now, Sites: []SiteItems{siteWith(lines...)}})); !slices.Equal(got, []string{"2026 due"}) {
		t.Errorf("got %q", got)
	}
}

func TestExplained(t *testing.T) {
	late := time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)
	explain := func(view string, years ...string) manifest.Decision {
		return manifest.Decision{What: manifest.Explained, Who: "M. Reed", When: late, Why: "road washed out", Years: years, View: view}
	}
	for _, tt := range []struct {
		name  string
		lines []string
		said  []manifest.Decision
		want  []string
	}{
		{"a skipped year", without(every(2009, 2026, 1, "plot"), "2014"), []manifest.Decision{explain("", "2014")}, []string{"2014 explained"}},
		{"a range", without(every(2009, 2026, 1, "plot"), "2014", "2015"), []manifest.Decision{explain("", "2013-2015")}, []string{"2014 explained", "2015 explained"}},
		{"another year", without(every(2009, 2026, 1, "plot"), "2014"), []manifest.Decision{explain("", "2015")}, []string{"2014 skipped"}},
		{"a short year", replaced(every(2009, 2026, 1, "plot landscape note"), "2014", "plot"), []manifest.Decision{explain("", "2014")}, []string{"2014 explained landscape,note"}},
		{"one view of two", replaced(every(2009, 2026, 1, "plot landscape note"), "2014", "plot"), []manifest.Decision{explain("landscape", "2014")}, []string{"2014 short note"}},
		{"both", replaced(every(2009, 2026, 1, "plot landscape note"), "2014", "plot"), []manifest.Decision{explain("landscape", "2014"), explain("note", "2014")}, []string{"2014 explained landscape,note"}},
		{"a view does not explain a whole year", without(every(2009, 2026, 1, "plot"), "2014"), []manifest.Decision{explain("plot", "2014")}, []string{"2014 skipped"}},
		{"never a loss", replaced(every(2009, 2026, 1, "plot"), "2014", "!plot"), []manifest.Decision{explain("", "2014")}, []string{"2014 lost 2014-06-21/0 plot"}},
		{"a year nobody expected", every(2010, 2026, 2, "plot"), []manifest.Decision{explain("", "2013")}, []string{"2013 explained"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := siteWith(tt.lines...)
			s.Decisions = tt.said
			years := Years(YearsInput{Now: late, Sites: []SiteItems{s}})
			if got := faults(years); !slices.Equal(got, tt.want) {
				t.Errorf("got %q, want %q", got, tt.want)
			}
			for _, y := range years {
				if y.State == Explained && (y.Wants() || y.Why != "road washed out") {
					t.Errorf("%+v", y)
				}
			}
		})
	}
}

func TestAcceptedIsNoLoss(t *testing.T) {
	late := time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)
	s := siteWith(replaced(every(2009, 2026, 1, "plot landscape"), "2014", "plot landscape -landscape")...)
	s.Decisions = []manifest.Decision{{What: manifest.Accepted, When: late, Path: "2014-06-21/2 landscape"}}
	if got := faults(Years(YearsInput{Now: late, Sites: []SiteItems{s}})); got != nil {
		t.Errorf("got %q", got)
	}
}

// Lists of years are never null in the JSON.
func TestYearsInOrder(t *testing.T) {
	now := time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)
	a, b := siteWith(every(2020, 2026, 1, "plot")...), siteWith(without(every(2020, 2026, 1, "plot"), "2023")...)
	b.Site = "Stake 1"
	years := Years(YearsInput{Now: now, Sites: []SiteItems{a, b}})
	if len(years) != 14 || years[0].Site != "Stake 1" || years[0].Year != 2020 || years[3].State != Skipped || years[13].Year != 2026 {
		t.Errorf("%+v", years)
	}
	for _, y := range years {
		if y.Lacks == nil {
			t.Errorf("%d lacks nil", y.Year)
		}
	}
}

// Arithmetic by hand: 350, 0 and 10 degrees have the mean 0, and the vectors'
// sum is (1+2cos10°)/3 long.
func TestCircular(t *testing.T) {
	deg := func(d ...float64) (f []float64) {
		for _, x := range d {
			f = append(f, x/360)
		}
		return f
	}
	mean, dev := circular(deg(350, 0, 10))
	r := (1 + 2*math.Cos(10*math.Pi/180)) / 3
	if d := math.Min(mean, 1-mean); d > 1e-9 || math.Abs(dev-math.Sqrt(-2*math.Log(r))/(2*math.Pi)) > 1e-9 {
		t.Errorf("mean %v deviation %v", mean, dev)
	}
	if mean, _ = circular(deg(80, 100)); math.Abs(mean-0.25) > 1e-9 {
		t.Errorf("mean of 80 and 100 degrees is %v of the circle", mean)
	}
	if _, dev = circular(deg(0, 180)); !math.IsInf(dev, 1) {
		t.Errorf("opposite directions deviate by %v", dev)
	}
}
