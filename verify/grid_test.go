package verify_test

import (
	"fmt"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"linecamp/verify"
	"linecamp/verify/gather"
	"linecamp/verify/verifytest"
	"linecamp/verify/years"
)

func TestGrid(t *testing.T) {
	var b strings.Builder
	verify.Grid(&b, []verify.Year{
		{Site: "Stake 1", Pasture: "North", Object: "1", Year: 2019, State: verify.Whole},
		{Site: "Stake 1", Pasture: "North", Object: "1", Year: 2021, State: verify.Skipped},
		{Site: "Stake 2", Pasture: "North", Object: "2", Year: 2020, State: verify.Short},
		{Site: "Stake 2", Pasture: "North", Object: "2", Year: 2021, State: verify.Due},
	})
	want := `
                2019
North / Stake 1 + . x
North / Stake 2 . - ?
+ whole   ? due   - short of something   x skipped   . none expected
`
	if b.String() != want {
		t.Errorf("got\n%s\nwant\n%s", b.String(), want)
	}
}

// However many sites and years, and however long their names: 80 columns, a line for
// each site, its name whole where there is room, and a legend for each symbol.
func TestGridFitsTheTerminal(t *testing.T) {
	states := []string{verify.Whole, verify.Short, verify.Skipped, verify.Recoverable, verify.Lost, verify.Due, verify.Explained}
	for _, tt := range []struct {
		name, pasture, site string
		sites, years        int
		whole               bool // names are not cut
		shows, before       string
	}{
		{"one year", "North Flat", "Windmill Stake", 3, 1, true, "North Flat / Windmill Stake 2 +", ""},
		{"five years", "Lower Calico Bench", "a stake with a very long name indeed", 4, 5, true, "\nLower Calico Bench / a stake with a very long name indeed 3 ", ""},
		{"a usual archive", "North Flat", "Windmill Stake", 30, 25, true, "North Flat / Windmill Stake 29 ", ""},
		{"long names", "Lower Calico Bench", "Cottonwood Draw Stake", 30, 25, true, "\nLower Calico Bench\n  Cottonwood Draw Stake 0  ", ""},
		{"longer ones", "Lower Calico Bench", "Überlanger Name eines Steins im Tal", 30, 25, false, "s Steins im Tal 29 ", ""},
		{"forty years", "North Flat", "Windmill Stake", 30, 40, true, " 2005", "Years before 2002 are"},
		{"forty years of short names", "N", "S", 30, 40, true, "N / S 29", "Years before 1991 are"},
	} {
		var years []verify.Year
		for s := range tt.sites {
			for y := range tt.years {
				if (s+y)%9 != 0 || tt.years < 9 {
					years = append(years, verify.Year{Site: fmt.Sprintf("%s %d", tt.site, s), Pasture: tt.pasture, Year: 2027 - tt.years + y, State: states[(s*y)%len(states)]})
				}
			}
		}
		var b strings.Builder
		verify.Grid(&b, years)
		text := b.String()
		for l := range strings.Lines(text) {
			if n := utf8.RuneCountInString(strings.TrimSuffix(l, "\n")); n > 80 {
				t.Errorf("%s: %d columns: %s", tt.name, n, l)
			}
		}
		for s := range tt.sites {
			if !strings.Contains(text, fmt.Sprintf("%s %d ", tt.site[max(0, len(tt.site)-5):], s)) {
				t.Errorf("%s: no line for site %d", tt.name, s)
			}
		}
		for mark, says := range verify.Legend() {
			if strings.Contains(text, " "+mark+" ") && !strings.Contains(text, mark+" "+says) {
				t.Errorf("%s: no legend for %q", tt.name, says)
			}
		}
		if strings.Contains(text, "…") == tt.whole || !strings.Contains(text, tt.shows) || !strings.Contains(text, tt.before) || tt.before == "" && strings.Contains(text, "Years before") {
			t.Errorf("%s:\n%s", tt.name, text)
		}
		t.Logf("%s:\n%s", tt.name, text)
	}
}

// A baseline decades before the regular visits is shown, and the years between take
// one column.
func TestGridShowsTheBaseline(t *testing.T) {
	judged := years.Judge(gather.Input{Now: time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC), Sites: []gather.SiteItems{verifytest.SiteWith(append([]string{"1957-06-21 plot"}, verifytest.Every(2009, 2026, 1, "plot")...)...)}})
	var b strings.Builder
	verify.Grid(&b, judged)
	want := `
                     1957  2010      2015      2020      2025
Windmill / Stake 3   + : + + + + + + + + + + + + + + + + + +
+ whole   : years without any visit
`
	want = strings.ReplaceAll(want, "Stake 3   ", "Stake 3 ")
	want = strings.Replace(want, "                     1957", "                   1957", 1)
	if b.String() != want {
		t.Errorf("got\n%s\nwant\n%s", b.String(), want)
	}
}

// What can still be put right comes first, with the day its season closes.
func TestDueComesFirst(t *testing.T) {
	for day, want := range map[string]string{
		"2026-07-01": "expected 2026-06-07 to 2026-07-05",
		"2026-08-01": "the season closed on 2026-07-05; is a card still in a camera?",
	} {
		now, _ := time.Parse(time.DateOnly, day)
		judged := years.Judge(gather.Input{Now: now, Sites: []gather.SiteItems{verifytest.SiteWith(verifytest.Replaced(verifytest.Every(2009, 2025, 1, "plot"), "2015", "!plot")...)}})
		var b strings.Builder
		verify.Report{Years: judged}.Print(&b)
		due, lost := strings.Index(b.String(), want), strings.Index(b.String(), "Lost: ")
		if due < 0 || lost < due {
			t.Errorf("on %s:\n%s", day, b.String())
		}
	}
}

// The next step can be taken as it stands, also where a finding has several files.
func TestWhatToExplainIsSpelledOut(t *testing.T) {
	for _, tt := range []struct {
		paths []string
		want  string
	}{
		{[]string{"a b.jpg"}, "  The reason, once: linecamp explain 'a b.jpg' 'the reason'\n"},
		{[]string{"a.jpg", "b.jpg"}, "  The reason, once for each:\n    linecamp explain a.jpg 'the reason'\n    linecamp explain b.jpg 'the reason'\n"},
	} {
		for _, kind := range []string{verify.FoundMisdated, verify.FoundSwapped, verify.FoundElsewhere, verify.FoundTwice} {
			var b strings.Builder
			verify.Report{Judged: true, Findings: []verify.Finding{{Kind: kind, Paths: tt.paths}}}.Print(&b)
			if !strings.HasSuffix(b.String(), tt.want) {
				t.Errorf("%s: %s", kind, b.String())
			}
		}
	}
}
