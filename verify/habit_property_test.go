package verify

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// period is a habit kept for some visits running: how often, in which seasons,
// and what each visit brings home.
type period struct {
	every   int   // years
	seasons []int // middles, as days of the year
	views   []string
	note    bool
	visits  int // visited years it lasts
}

func (p period) String() string {
	return fmt.Sprintf("every %d years, days %v, %v, note %v, %d times", p.every, p.seasons, p.views, p.note, p.visits)
}

// aPeriod draws a habit. It lasts least visited years at least: three visits
// running are what makes a habit. Its seasons keep clear of the new year.
func aPeriod(t *rapid.T, least int, label string) period {
	p := period{
		every:  rapid.IntRange(1, 3).Draw(t, label+" every"),
		views:  rapid.SampledFrom([][]string{{"plot", "landscape"}, {"plot"}, {"plot", "landscape", "north", "south"}, {"untold", "untold"}, {"untold", "untold", "untold", "untold"}}).Draw(t, label+" views"),
		note:   rapid.Bool().Draw(t, label+" note"),
		visits: rapid.IntRange(least, least+8).Draw(t, label+" visits"),
	}
	first := rapid.IntRange(35, 330).Draw(t, label+" season")
	p.seasons = []int{first}
	second := first + rapid.IntRange(100, 240).Draw(t, label+" apart")
	if rapid.IntRange(0, 2).Draw(t, label+" two seasons") == 0 && second <= 330 {
		p.seasons = append(p.seasons, second)
	}
	return p
}

// spell is what one visit brought home.
type spell struct {
	day   time.Time
	words []string
}

// history plays periods one after another. Days move about the middle of their
// season by ten at most.
func history(t *rapid.T, periods []period) (out []spell) {
	year := rapid.IntRange(1985, 1999).Draw(t, "first year")
	for _, p := range periods {
		for range p.visits {
			if len(out) > 0 {
				year += p.every
			}
			for _, s := range p.seasons {
				day := time.Date(year, 1, s+rapid.IntRange(-10, 10).Draw(t, "days off"), 0, 0, 0, 0, time.UTC)
				words := slices.Clone(p.views)
				if p.note {
					words = append(words, "note")
				}
				out = append(out, spell{day, words})
			}
		}
	}
	slices.SortFunc(out, func(a, b spell) int { return a.day.Compare(b.day) })
	return out
}

func siteOf(visits []spell) SiteItems {
	var lines []string
	for _, v := range visits {
		lines = append(lines, v.day.Format(time.DateOnly)+" "+strings.Join(v.words, " "))
	}
	return siteWith(lines...)
}

// ills are the years and findings that would trouble a person.
func ills(in YearsInput) (all []string) {
	years := Years(in)
	for _, y := range years {
		if y.State == Short || y.State == Skipped {
			all = append(all, strings.TrimSpace(fmt.Sprintf("%d %s %s", y.Year, y.State, strings.Join(y.Lacks, ","))))
		}
	}
	for _, f := range Findings(in, years) {
		if f.Kind != FoundLate {
			all = append(all, f.Visit+" "+f.Kind+" "+f.Text)
		}
	}
	return all
}

// Whatever the habit, and however it changed for good, nothing is found in a
// record that kept to it.
func TestNothingIsFoundWhereHabitsWereKept(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var periods []period
		for i := range rapid.IntRange(1, 3).Draw(t, "periods") {
			periods = append(periods, aPeriod(t, 3, fmt.Sprintf("%d:", i)))
		}
		visits := history(t, periods)
		in := YearsInput{Now: visits[len(visits)-1].day.AddDate(0, 0, rapid.IntRange(0, 60).Draw(t, "days since")), Sites: []SiteItems{siteOf(visits)}}
		if got := ills(in); len(got) > 0 {
			t.Fatalf("%v\nvisits %v\nfound %v", periods, days(visits), got)
		}
	})
}

// The same for a season that spans the new year, which people file under either
// of its years.
func TestASeasonOverTheNewYear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := period{every: rapid.IntRange(1, 3).Draw(t, "every"), seasons: []int{rapid.IntRange(-15, 15).Draw(t, "season")},
			views: []string{"plot", "landscape"}, note: true, visits: rapid.IntRange(3, 20).Draw(t, "visits")}
		visits := history(t, []period{p})
		in := YearsInput{Now: visits[len(visits)-1].day.AddDate(0, 0, 30), Sites: []SiteItems{siteOf(visits)}}
		if got := ills(in); len(got) > 0 {
			t.Fatalf("%v\nvisits %v\nfound %v", p, days(visits), got)
		}
	})
}

func days(visits []spell) (out []string) {
	for _, v := range visits {
		out = append(out, v.day.Format(time.DateOnly)+":"+strings.Join(v.words, "+"))
	}
	return out
}

// What lacks in the middle of a habit is found, and nothing else.
func TestOneThingThatLacksIsFound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := aPeriod(t, 9, "")
		visits := history(t, []period{p})
		years := p.visits
		at := rapid.IntRange(4, years-5).Draw(t, "year") * len(p.seasons) // its first visit
		year := visits[at].day.Year()
		last := visits[len(visits)-1].day
		var want string
		switch what := rapid.SampledFrom([]string{"year", "visit", "view", "note", "photo"}).Draw(t, "what"); {
		case what == "year":
			want = fmt.Sprintf("%d skipped", year)
			visits = slices.Delete(visits, at, at+len(p.seasons))
		case what == "visit" && len(p.seasons) == 2:
			want = fmt.Sprintf("%d short visit of ", year)
			visits = slices.Delete(visits, at, at+1)
		case what == "view" && p.views[0] != "untold":
			view := rapid.SampledFrom(p.views).Draw(t, "view")
			want = fmt.Sprintf("%d short %s", year, view)
			for i := range p.seasons {
				visits[at+i].words = slices.DeleteFunc(visits[at+i].words, func(w string) bool { return w == view })
			}
			if len(p.views) == 1 && !p.note {
				t.Skip("nothing is left of the visit")
			}
			if len(p.views) == 1 {
				want = fmt.Sprintf("%d short %s", year, view)
			}
		case what == "note" && p.note:
			want = fmt.Sprintf("%d short note", year)
			for i := range p.seasons {
				visits[at+i].words = slices.DeleteFunc(visits[at+i].words, func(w string) bool { return w == "note" })
			}
		case what == "photo" && p.views[0] == "untold":
			want = fmt.Sprintf("%d short usual number of photos", year)
			visits[at].words = visits[at].words[1:]
		default:
			t.Skip("not of this habit")
		}
		in := YearsInput{Now: last.AddDate(0, 0, 30), Sites: []SiteItems{siteOf(visits)}}
		if got := ills(in); len(got) != 1 || !strings.HasPrefix(got[0], want) {
			t.Fatalf("%v\nvisits %v\nfound %v, want %q", p, days(visits), got, want)
		}
	})
}
