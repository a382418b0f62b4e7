package text

import (
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"

	"linecamp/verify"
)

func TestGrid(t *testing.T) {
	var b strings.Builder
	grid(&b, []verify.Year{
		{Site: "Stake 1", Pasture: "North", Object: "1", Year: 2019, State: verify.Whole},
		{Site: "Stake 1", Pasture: "North", Object: "1", Year: 2021, State: verify.Skipped},
		{Site: "Stake 2", Pasture: "North", Object: "2", Year: 2020, State: verify.Short},
		{Site: "Stake 2", Pasture: "North", Object: "2", Year: 2021, State: verify.Due},
	})
	want := `
                2019
North / Stake 1 + . x
North / Stake 2 . - ?
+ whole   ? still to come   - short of something   x skipped   . none expected
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
		grid(&b, years)
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
		for _, m := range marks {
			if strings.Contains(text, " "+string(m.mark)+" ") && !strings.Contains(text, string(m.mark)+" "+m.says) {
				t.Errorf("%s: no legend for %q", tt.name, m.says)
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
	years := []verify.Year{{Site: "Stake 3", Pasture: "Windmill", Year: 1957, State: verify.Whole}}
	for y := 2009; y <= 2026; y++ {
		years = append(years, verify.Year{Site: "Stake 3", Pasture: "Windmill", Year: y, State: verify.Whole})
	}
	var b strings.Builder
	grid(&b, years)
	want := `
                   1957  2010      2015      2020      2025
Windmill / Stake 3 + : + + + + + + + + + + + + + + + + + +
+ whole   : years without any visit
`
	if b.String() != want {
		t.Errorf("got\n%s\nwant\n%s", b.String(), want)
	}
}

// What can still be put right comes first, with the day its season closes.
func TestDueComesFirst(t *testing.T) {
	lost := verify.Year{Site: "Stake 3", Year: 2015, State: verify.Lost, Lacks: []string{"plot.jpg"}}
	open := verify.Year{Site: "Stake 3", Year: 2026, State: verify.Due, Opens: "2026-06-07", Closes: "2026-07-05"}
	over := open
	over.Over = true
	for want, y := range map[string]verify.Year{
		"expected 2026-06-07 to 2026-07-05":                             open,
		"the season closed on 2026-07-05; is a card still in a camera?": over,
	} {
		var b strings.Builder
		Print(&b, verify.Report{Years: []verify.Year{lost, y}})
		due, lost := strings.Index(b.String(), want), strings.Index(b.String(), "Lost: ")
		if due < 0 || lost < due {
			t.Errorf("%s:\n%s", want, b.String())
		}
	}
}
