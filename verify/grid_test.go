package verify

import (
	"fmt"
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

func TestGrid(t *testing.T) {
	var b strings.Builder
	grid(&b, []Year{
		{Site: "Stake 1", Pasture: "North", Object: "1", Year: 2019, State: Whole},
		{Site: "Stake 1", Pasture: "North", Object: "1", Year: 2021, State: Skipped},
		{Site: "Stake 2", Pasture: "North", Object: "2", Year: 2020, State: Short},
		{Site: "Stake 2", Pasture: "North", Object: "2", Year: 2021, State: Due},
	})
	want := `
                             2019
North / Stake 1              + . x
North / Stake 2              . - ?
+ whole   ? due   - short of something   x skipped   . none expected
`
	if b.String() != want {
		t.Errorf("got\n%s\nwant\n%s", b.String(), want)
	}
}

// Thirty sites with long names and 40 years, in every state, on a terminal of 80
// columns: each site has its line and each symbol its legend.
func TestGridFitsTheTerminal(t *testing.T) {
	var years []Year
	states := []string{Whole, Short, Skipped, Recoverable, Lost, Due, Explained}
	for s := range 30 {
		for y := range 40 {
			if (s+y)%9 != 0 {
				years = append(years, Year{Site: fmt.Sprintf("Überlanger Name eines Steins %d", s), Pasture: "Lower Calico Bench", Year: 1987 + y, State: states[(s+y)%len(states)]})
			}
		}
	}
	var b strings.Builder
	Report{Years: years}.Print(&b)
	text := b.String()
	for l := range strings.Lines(text[:strings.Index(text, "Years before")]) {
		if n := utf8.RuneCountInString(strings.TrimSuffix(l, "\n")); n > 80 && !strings.HasPrefix(l, "years") {
			t.Errorf("%d columns: %s", n, l)
		}
	}
	for s := range 30 {
		if !strings.Contains(text, fmt.Sprintf("Steins %d", s)) {
			t.Errorf("no line for site %d", s)
		}
	}
	if !strings.Contains(text, "2005") || !strings.Contains(text, "Years before 2002 are not shown here") {
		t.Errorf("%s", text)
	}
	for _, m := range marks {
		if !strings.Contains(text, string(m.mark)+" "+m.says) {
			t.Errorf("no legend for %q", m.says)
		}
	}
}

// What can still be put right comes first, with the day its season closes.
func TestDueComesFirst(t *testing.T) {
	for day, want := range map[string]string{
		"2026-07-01": "expected 2026-06-07 to 2026-07-05",
		"2026-08-01": "the season closed on 2026-07-05; is a card still in a camera?",
	} {
		now, _ := time.Parse(time.DateOnly, day)
		years := Years(YearsInput{Now: now, Sites: []SiteItems{siteWith(replaced(every(2009, 2025, 1, "plot"), "2015", "!plot")...)}})
		var b strings.Builder
		Report{Years: years}.Print(&b)
		due, lost := strings.Index(b.String(), want), strings.Index(b.String(), "Lost: ")
		if due < 0 || lost < due {
			t.Errorf("on %s:\n%s", day, b.String())
		}
	}
}
