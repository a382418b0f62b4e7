package years_test

import (
	"slices"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/verify"
	"linecamp/verify/gather"
	"linecamp/verify/verifytest"
	"linecamp/verify/years"
)

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
		{name: "yearly and complete", lines: verifytest.Every(2009, 2026, 1, usual), want: nil},
		{name: "one year without landscape", lines: verifytest.Replaced(verifytest.Every(2009, 2026, 1, usual), "2015", "plot note"), want: []string{"2015 short landscape"}},
		{name: "one year without note", lines: verifytest.Replaced(verifytest.Every(2009, 2026, 1, usual), "2015", "plot landscape"), want: []string{"2015 short note"}},
		{name: "one year with only a note", lines: verifytest.Replaced(verifytest.Every(2009, 2026, 1, usual), "2015", "note"), want: []string{"2015 short landscape,plot"}},
		{name: "the first year lacks a view", lines: verifytest.Replaced(verifytest.Every(2009, 2026, 1, usual), "2009", "plot note"), want: []string{"2009 short landscape"}},
		{name: "the second of three lacks a view", lines: verifytest.Replaced(verifytest.Every(2024, 2026, 1, usual), "2025", "plot note"), want: []string{"2025 short landscape"}},
		{name: "two visits tell no habit", lines: verifytest.Replaced(verifytest.Every(2025, 2026, 1, usual), "2026", "plot"), want: nil},
		{name: "landscapes began in 2012", lines: append(verifytest.Every(2009, 2011, 1, "plot"), verifytest.Every(2012, 2026, 1, "plot landscape")...), want: nil},
		{name: "landscapes ended in 2020", lines: append(verifytest.Every(2009, 2020, 1, "plot landscape"), verifytest.Every(2021, 2026, 1, "plot")...), want: nil},
		{name: "a view now and then is no habit", lines: verifytest.Replaced(verifytest.Replaced(verifytest.Every(2015, 2022, 1, "plot landscape"), "2016", "plot"), "2019", "plot north"), now: time.Date(2022, 12, 1, 0, 0, 0, 0, time.UTC),
			want: []string{"2016 short landscape", "2019 short landscape"}},
		{name: "untold views only", lines: verifytest.Every(2009, 2026, 1, "untold untold"), want: nil},
		{name: "an untold photo may be the one lacking", lines: verifytest.Replaced(verifytest.Every(2009, 2026, 1, usual), "2015", "plot untold note"), want: nil},
		{name: "but not two", lines: verifytest.Replaced(verifytest.Every(2009, 2026, 1, "plot landscape north note"), "2015", "plot untold note"), want: []string{"2015 short landscape"}},
		{name: "one photo where there are always two", lines: verifytest.Replaced(verifytest.Every(2009, 2026, 1, "untold untold"), "2015", "untold"), want: []string{"2015 short 1 of 2 photos"}},
		{name: "one photo, where two are no habit yet", lines: verifytest.Replaced(verifytest.Every(2024, 2026, 1, "untold untold"), "2025", "untold"), want: nil},
		{name: "three landscapes where there are always four", lines: verifytest.Replaced(verifytest.Every(2009, 2026, 1, "plot landscape landscape landscape landscape"), "2015", "plot landscape landscape landscape"), want: []string{"2015 short 1 of 4 landscape photos"}},
		{name: "the fourth may be the one of unknown view", lines: verifytest.Replaced(verifytest.Every(2009, 2026, 1, "plot landscape landscape landscape landscape"), "2015", "plot landscape landscape landscape untold"), want: nil},
		{name: "four landscapes, and three from 2024 on", lines: append(verifytest.Every(2009, 2023, 1, "landscape landscape landscape landscape"), verifytest.Every(2024, 2026, 1, "landscape landscape landscape")...), want: nil},
		{name: "a habit of seven years between two others, broken in its fourth", lines: append(append(verifytest.Replaced(verifytest.Every(2010, 2016, 1, "plot landscape"), "2013", "plot"), verifytest.Every(2003, 2009, 1, "plot")...), verifytest.Every(2017, 2026, 1, "plot")...),
			want: []string{"2013 short landscape"}},
		{name: "a second visit in one June", lines: append(verifytest.Every(2009, 2026, 1, "untold untold"), "2015-06-05 untold", "2016-06-05 untold untold"), want: nil},
		{name: "more photos now and then", lines: verifytest.Replaced(verifytest.Replaced(verifytest.Every(2009, 2026, 1, "untold untold"), "2015", "untold untold untold"), "2020", "untold untold untold untold"), want: nil},
		{name: "as many as it happens", lines: verifytest.Replaced(verifytest.Replaced(verifytest.Replaced(verifytest.Every(2011, 2019, 1, "untold untold untold"), "2012", "untold untold"), "2014", "untold untold"), "2017", "untold untold untold untold"),
			now: time.Date(2019, 12, 1, 0, 0, 0, 0, time.UTC), want: nil},
		{name: "two photos, and one from 2020 on", lines: append(verifytest.Every(2009, 2019, 1, "untold untold"), verifytest.Every(2020, 2026, 1, "untold")...), want: nil},
		{name: "a second visit in the year has the view", lines: append(verifytest.Replaced(verifytest.Every(2009, 2026, 1, usual), "2015", "plot note"), "2015-09-01 landscape"), want: nil},
		{name: "a skipped year", lines: verifytest.Without(verifytest.Every(2009, 2026, 1, usual), "2014"), want: []string{"2014 skipped"}},
		{name: "two skipped years", lines: verifytest.Without(verifytest.Every(2009, 2026, 1, usual), "2014", "2015"), want: []string{"2014 skipped", "2015 skipped"}},
		{name: "the last year", lines: verifytest.Every(2009, 2025, 1, usual), want: []string{"2026 skipped"}},
		{name: "nothing for three years", lines: verifytest.Every(2009, 2023, 1, usual), want: []string{"2024 skipped", "2025 skipped", "2026 skipped"}},
		{name: "every second year", lines: verifytest.Every(2010, 2026, 2, usual), want: nil},
		{name: "every second year, not due", lines: verifytest.Every(2009, 2025, 2, usual), want: nil},
		{name: "every second year, one skipped", lines: verifytest.Without(verifytest.Every(2010, 2026, 2, usual), "2016"), want: []string{"2016 skipped"}},
		{name: "every second year, one late", lines: append(verifytest.Every(2008, 2014, 2, usual), verifytest.Every(2017, 2025, 2, usual)...), want: nil},
		{name: "yearly, then every second year", lines: append(verifytest.Every(2009, 2015, 1, usual), verifytest.Every(2017, 2025, 2, usual)...), want: nil},
		{name: "every second year, then yearly", lines: append(verifytest.Every(2003, 2013, 2, usual), verifytest.Every(2014, 2026, 1, usual)...), want: nil},
		{name: "every fifth year", lines: verifytest.Every(2006, 2026, 5, usual), want: nil},
		{name: "a baseline long before", lines: append([]string{"1987 plot"}, verifytest.Every(2010, 2026, 1, usual)...), want: nil},
		{name: "a single visit", lines: []string{"2019-06-21 plot landscape"}, want: nil},
		{name: "two visits, the next not made", lines: verifytest.Every(2024, 2025, 1, usual), want: []string{"2026 skipped"}},
		{name: "two visits with a gap", lines: []string{"2020-06-21 plot", "2023-06-21 plot"}, now: time.Date(2024, 12, 1, 0, 0, 0, 0, time.UTC), want: nil},
		{name: "a clock in the future", lines: append(verifytest.Every(2009, 2026, 1, usual), "2099-06-21 plot"), want: nil},
		{name: "no longer in the working folder", lines: verifytest.Replaced(verifytest.Every(2009, 2026, 1, usual), "2015", "-plot -landscape -note"),
			want: []string{"2015 recoverable 2015-06-21/0 plot,2015-06-21/1 landscape,2015-06-21/2 note"}},
		{name: "a part of it", lines: verifytest.Replaced(verifytest.Every(2009, 2026, 1, usual), "2015", "plot -landscape note"), want: []string{"2015 recoverable 2015-06-21/1 landscape"}},
		{name: "lost", lines: verifytest.Replaced(verifytest.Every(2009, 2026, 1, usual), "2015", "plot !landscape -note"), want: []string{"2015 lost 2015-06-21/1 landscape"}},
		{name: "years only, gone over", lines: []string{"2023 plot", "2024 plot", "2025 plot"}, now: time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC), want: []string{"2026 due"}},
		{name: "years only, Grace over", lines: []string{"2022 plot", "2023 plot", "2024 plot"}, now: time.Date(2026, 4, 1, 0, 0, 0, 0, time.UTC), want: []string{"2025 skipped", "2026 due"}},
		{name: "cards are no visit's view", lines: verifytest.Replaced(verifytest.Every(2009, 2026, 1, usual), "2015", usual+" card"), want: nil},
		{name: "spring and fall, this fall to come", lines: append(verifytest.Every(2015, 2025, 1, "plot"), "2015-10-01 plot", "2016-10-02 plot", "2017-10-03 plot", "2018-10-01 plot", "2019-10-01 plot",
			"2020-10-01 plot", "2021-10-01 plot", "2022-10-01 plot", "2023-10-01 plot", "2024-10-01 plot", "2025-10-01 plot"), now: time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC), want: []string{"2026 due"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			now := tt.now
			if now.IsZero() {
				now = late
			}
			got := verifytest.Faults(years.Judge(gather.Input{Now: now, Sites: []gather.SiteItems{verifytest.SiteWith(tt.lines...)}}))
			if !slices.Equal(got, tt.want) {
				t.Errorf("got  %q\nwant %q", got, tt.want)
			}
		})
	}
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
		judged := years.Judge(gather.Input{Now: now, Sites: []gather.SiteItems{verifytest.SiteWith(verifytest.Every(2009, 2025, 1, "plot")...)}})
		if got := verifytest.Faults(judged); !slices.Equal(got, []string{tt.want}) {
			t.Errorf("on %s: %q, want %q", tt.day, got, tt.want)
		}
		last := judged[len(judged)-1]
		if last.State == verify.Due && (last.Opens != "2026-06-07" || last.Closes != "2026-07-05") {
			t.Errorf("season %s to %s", last.Opens, last.Closes)
		}
		if last.Wants() != (last.State == verify.Skipped) {
			t.Errorf("%s wants %v", last.State, last.Wants())
		}
	}
}

// What a visit lacks this year can still be put right while its season lasts.
func TestShortIsDueInSeason(t *testing.T) {
	lines := append(verifytest.Every(2009, 2025, 1, "plot landscape"), "2026-06-20 plot")
	for _, tt := range []struct{ day, want string }{
		{"2026-06-25", "2026 due landscape"},
		{"2026-11-01", "2026 short landscape"},
	} {
		now, _ := time.Parse(time.DateOnly, tt.day)
		if got := verifytest.Faults(years.Judge(gather.Input{Now: now, Sites: []gather.SiteItems{verifytest.SiteWith(lines...)}})); !slices.Equal(got, []string{tt.want}) {
			t.Errorf("on %s: %q", tt.day, got)
		}
	}
}

func TestSeasonAcrossNewYear(t *testing.T) {
	lines := []string{"2018-12-28 plot", "2019-12-30 plot", "2021-01-03 plot", "2021-12-29 plot", "2022-12-28 plot", "2023-12-30 plot", "2024-12-29 plot", "2025-12-30 plot"}
	now, _ := time.Parse(time.DateOnly, "2026-03-01")
	if got := verifytest.Faults(years.Judge(gather.Input{Now: now, Sites: []gather.SiteItems{verifytest.SiteWith(lines...)}})); !slices.Equal(got, []string{"2026 due"}) {
		t.Errorf("got %q", got)
	}
}

func TestExplained(t *testing.T) {
	late := time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)
	explain := func(view string, judged ...string) manifest.Decision {
		return manifest.Decision{What: manifest.Explained, Who: "M. Reed", When: late, Why: "road washed out", Years: judged, View: view}
	}
	for _, tt := range []struct {
		name  string
		lines []string
		said  []manifest.Decision
		want  []string
	}{
		{"a skipped year", verifytest.Without(verifytest.Every(2009, 2026, 1, "plot"), "2014"), []manifest.Decision{explain("", "2014")}, []string{"2014 explained"}},
		{"a range", verifytest.Without(verifytest.Every(2009, 2026, 1, "plot"), "2014", "2015"), []manifest.Decision{explain("", "2013-2015")}, []string{"2014 explained", "2015 explained"}},
		{"another year", verifytest.Without(verifytest.Every(2009, 2026, 1, "plot"), "2014"), []manifest.Decision{explain("", "2015")}, []string{"2014 skipped"}},
		{"a short year", verifytest.Replaced(verifytest.Every(2009, 2026, 1, "plot landscape note"), "2014", "plot"), []manifest.Decision{explain("", "2014")}, []string{"2014 explained landscape,note"}},
		{"one view of two", verifytest.Replaced(verifytest.Every(2009, 2026, 1, "plot landscape note"), "2014", "plot"), []manifest.Decision{explain("landscape", "2014")}, []string{"2014 short note"}},
		{"both", verifytest.Replaced(verifytest.Every(2009, 2026, 1, "plot landscape note"), "2014", "plot"), []manifest.Decision{explain("landscape", "2014"), explain("note", "2014")}, []string{"2014 explained landscape,note"}},
		{"a view does not explain a whole year", verifytest.Without(verifytest.Every(2009, 2026, 1, "plot"), "2014"), []manifest.Decision{explain("plot", "2014")}, []string{"2014 skipped"}},
		{"never a loss", verifytest.Replaced(verifytest.Every(2009, 2026, 1, "plot"), "2014", "!plot"), []manifest.Decision{explain("", "2014")}, []string{"2014 lost 2014-06-21/0 plot"}},
		{"a year nobody expected", verifytest.Every(2010, 2026, 2, "plot"), []manifest.Decision{explain("", "2013")}, []string{"2013 explained"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := verifytest.SiteWith(tt.lines...)
			s.Decisions = tt.said
			judged := years.Judge(gather.Input{Now: late, Sites: []gather.SiteItems{s}})
			if got := verifytest.Faults(judged); !slices.Equal(got, tt.want) {
				t.Errorf("got %q, want %q", got, tt.want)
			}
			for _, y := range judged {
				if y.State == verify.Explained && (y.Wants() || y.Why != "road washed out") {
					t.Errorf("%+v", y)
				}
			}
		})
	}
}

func TestAcceptedIsNoLoss(t *testing.T) {
	late := time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)
	s := verifytest.SiteWith(verifytest.Replaced(verifytest.Every(2009, 2026, 1, "plot landscape"), "2014", "plot landscape -landscape")...)
	s.Decisions = []manifest.Decision{{What: manifest.Accepted, When: late, Path: "2014-06-21/2 landscape"}}
	if got := verifytest.Faults(years.Judge(gather.Input{Now: late, Sites: []gather.SiteItems{s}})); got != nil {
		t.Errorf("got %q", got)
	}
}

// Lists of years are never null in the JSON.
func TestYearsInOrder(t *testing.T) {
	now := time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)
	a, b := verifytest.SiteWith(verifytest.Every(2020, 2026, 1, "plot")...), verifytest.SiteWith(verifytest.Without(verifytest.Every(2020, 2026, 1, "plot"), "2023")...)
	b.Site = "Stake 1"
	judged := years.Judge(gather.Input{Now: now, Sites: []gather.SiteItems{a, b}})
	if len(judged) != 14 || judged[0].Site != "Stake 1" || judged[0].Year != 2020 || judged[3].State != verify.Skipped || judged[13].Year != 2026 {
		t.Errorf("%+v", judged)
	}
	for _, y := range judged {
		if y.Lacks == nil {
			t.Errorf("%d lacks nil", y.Year)
		}
	}
}
