package years_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"linecamp/verify"
	"linecamp/verify/findings"
	"linecamp/verify/gather"
	"linecamp/verify/verifytest"
	"linecamp/verify/years"
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

// What visits bring home: views, the same view several times, and camera names.
var brought = [][]string{
	{"plot", "landscape"}, {"plot"}, {"plot", "landscape", "north", "south"},
	{"plot", "landscape", "landscape", "landscape", "landscape"},
	{"untold", "untold"}, {"untold", "untold", "untold", "untold"},
}

// aPeriod draws a habit. It lasts least visited years at least: three visits
// running are what makes a habit. Its one to three seasons keep clear of each other
// and of the new year.
func aPeriod(t *rapid.T, least int, label string) period {
	p := period{
		every:  rapid.IntRange(1, 3).Draw(t, label+" every"),
		views:  rapid.SampledFrom(brought).Draw(t, label+" views"),
		note:   rapid.Bool().Draw(t, label+" note"),
		visits: rapid.IntRange(least, least+8).Draw(t, label+" visits"),
	}
	day := rapid.IntRange(35, 330).Draw(t, label+" season")
	for range rapid.IntRange(1, 3).Draw(t, label+" seasons") {
		if day <= 330 {
			p.seasons = append(p.seasons, day)
		}
		day += rapid.IntRange(80, 140).Draw(t, label+" apart")
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

func siteOf(visits []spell) gather.SiteItems {
	var lines []string
	for _, v := range visits {
		lines = append(lines, v.day.Format(time.DateOnly)+" "+strings.Join(v.words, " "))
	}
	return verifytest.SiteWith(lines...)
}

// ills are the years and findings that would trouble a person.
func ills(in gather.Input) (all []string) {
	judged := years.Judge(in)
	for _, y := range judged {
		if y.State == verify.Short || y.State == verify.Skipped {
			all = append(all, strings.TrimSpace(fmt.Sprintf("%d %s %s", y.Year, y.State, strings.Join(y.Lacks, ","))))
		}
	}
	for _, f := range findings.Of(in, judged) {
		if f.Kind != verify.FoundLate {
			all = append(all, f.Visit+" "+f.Kind+" "+f.Text)
		}
	}
	return all
}

// Whatever the habit, and however it changed for good, nothing is found in a
// record that kept to it.
func TestNothingIsFoundWhereHabitsWereKept(t *testing.T) {
	tried := map[string]int{}
	rapid.Check(t, func(t *rapid.T) {
		var periods []period
		for i := range rapid.IntRange(1, 3).Draw(t, "periods") {
			periods = append(periods, aPeriod(t, 3, fmt.Sprintf("%d:", i)))
		}
		tried[fmt.Sprintf("%d periods", len(periods))]++
		visits := history(t, periods)
		in := gather.Input{Now: visits[len(visits)-1].day.AddDate(0, 0, rapid.IntRange(0, 60).Draw(t, "days since")), Sites: []gather.SiteItems{siteOf(visits)}}
		if got := ills(in); len(got) > 0 {
			t.Fatalf("%v\nvisits %v\nfound %v", periods, days(visits), got)
		}
	})
	t.Logf("tried: %v", tried)
}

// The same for a season that spans the new year, which people file under either
// of its years.
func TestASeasonOverTheNewYear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := period{every: rapid.IntRange(1, 3).Draw(t, "every"), seasons: []int{rapid.IntRange(-15, 15).Draw(t, "season")},
			views: []string{"plot", "landscape"}, note: true, visits: rapid.IntRange(3, 20).Draw(t, "visits")}
		visits := history(t, []period{p})
		in := gather.Input{Now: visits[len(visits)-1].day.AddDate(0, 0, 30), Sites: []gather.SiteItems{siteOf(visits)}}
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

// What lacks in the middle of a habit is found, and nothing else, whatever the
// habits before and after it were. Only where a season of those lies within 45 days
// of one of several seasons, so that nothing tells the two apart, it may be missed.
func TestOneThingThatLacksIsFound(t *testing.T) {
	tried, missed, wrong := map[string]int{}, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p := aPeriod(t, 9, "this")
		periods, first := []period{p}, 0
		if rapid.Bool().Draw(t, "one before") {
			before := aPeriod(t, 3, "before")
			periods, first = []period{before, p}, before.visits*len(before.seasons)
		}
		if rapid.Bool().Draw(t, "one after") {
			periods = append(periods, aPeriod(t, 3, "after"))
		}
		visits := history(t, periods)
		at := first + rapid.IntRange(4, p.visits-5).Draw(t, "year")*len(p.seasons) // its year's first visit
		season := rapid.IntRange(0, len(p.seasons)-1).Draw(t, "which season")
		year := visits[at].day.Year()
		some := func(word string) int { // how many photos of a view a visit has
			n := 0
			for _, v := range p.views {
				if v == word {
					n++
				}
			}
			return n
		}
		strip := func(i int, word string, most int) { // takes words from a visit
			visits[i].words = slices.DeleteFunc(slices.Clone(visits[i].words), func(w string) bool {
				most--
				if w != word {
					most++
				}
				return w == word && most >= 0
			})
		}
		several := len(p.seasons) > 1
		last := visits[len(visits)-1].day
		want, of := "", ""
		view := rapid.SampledFrom(p.views).Draw(t, "view")
		can := []string{"year"} // what this habit can lack
		if several {
			can = append(can, "visit")
		}
		if view != "untold" && (len(p.views) > 1 || p.note) {
			can = append(can, "view", "view everywhere")
		}
		if p.note {
			can = append(can, "note", "note everywhere")
		}
		if some(view) > 1 {
			can = append(can, "photo")
		}
		what := rapid.SampledFrom(can).Draw(t, "what")
		switch {
		case what == "year":
			want = fmt.Sprintf("%d skipped", year)
			visits = slices.Delete(visits, at, at+len(p.seasons))
		case what == "visit":
			want, of = fmt.Sprintf("%d short visit", year), " of "
			visits = slices.Delete(visits, at+season, at+season+1)
		case strings.HasPrefix(what, "view"):
			want = fmt.Sprintf("%d short %s", year, view)
			for i := range p.seasons {
				if i == season || what == "view everywhere" {
					strip(at+i, view, 9)
				}
			}
			if several && what == "view" {
				of = " of "
			}
		case strings.HasPrefix(what, "note"):
			want = fmt.Sprintf("%d short note", year)
			for i := range p.seasons {
				if i == season || what == "note everywhere" {
					strip(at+i, "note", 9)
				}
			}
			if several && what == "note" {
				of = " of "
			}
		case what == "photo":
			want = fmt.Sprintf("%d short 1 of %d %s photos", year, some(view), view)
			if view == "untold" {
				want = fmt.Sprintf("%d short 1 of %d photos", year, some(view))
			}
			strip(at+season, view, 1)
			if several {
				of = " of "
			}
		}
		blurred := false // a season of another habit lies between two of this one, and nothing tells them apart
		for _, o := range periods {
			for _, a := range o.seasons {
				for _, b := range p.seasons {
					apart := max(a-b, b-a)
					blurred = blurred || len(p.seasons) > 1 && apart > 0 && apart < 20+25
				}
			}
		}
		kind := fmt.Sprintf("%s, %d seasons", what, len(p.seasons))
		if blurred {
			kind += ", blurred"
		}
		tried[kind]++
		in := gather.Input{Now: last.AddDate(0, 0, 30), Sites: []gather.SiteItems{siteOf(visits)}}
		got := ills(in)
		if len(got) == 1 {
			if rest, ok := strings.CutPrefix(got[0], want+of); ok && (rest == "" && of == "" || len(rest) == len("01-02") && of != "") {
				return
			}
		}
		switch {
		case blurred && len(got) == 0:
			missed++
			return
		case blurred:
			wrong++
			return
		}
		t.Fatalf("%v\nvisits %v\nfound %q, want %q", periods, days(visits), got, want+of)
	})
	t.Logf("tried: %v; of the blurred, %d were missed, and beside %d something else was found", tried, missed, wrong)
	all := 0
	for kind, n := range tried {
		if strings.Contains(kind, "blurred") {
			all += n
		}
	}
	if missed > all/20+1 || wrong > all/200+1 {
		t.Errorf("of %d blurred, %d were missed, and beside %d something else was found", all, missed, wrong)
	}
}

// One visit more than 21 days out of its season is told, and nothing else is; one
// that is less is not. The season is the other visits', which reaches 14 to 20 days to
// either side of their mean; that may be 10 days off its middle.
func TestOneVisitOutOfSeason(t *testing.T) {
	told, left := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p := period{every: rapid.IntRange(1, 3).Draw(t, "every"), seasons: []int{rapid.IntRange(165, 200).Draw(t, "season")},
			views: []string{"plot"}, visits: rapid.IntRange(8, 25).Draw(t, "visits")}
		visits := history(t, []period{p})
		i := rapid.IntRange(1, len(visits)-2).Draw(t, "which")
		middle := time.Date(visits[i].day.Year(), 1, p.seasons[0], 0, 0, 0, 0, time.UTC)
		out := rapid.Bool().Draw(t, "out")
		off := rapid.IntRange(15, 14+21-10).Draw(t, "days")
		if out {
			off = rapid.IntRange(20+21+10, 150).Draw(t, "days")
		}
		if rapid.Bool().Draw(t, "early") {
			off = -off
		}
		visits[i].day = middle.AddDate(0, 0, off)
		got := ills(gather.Input{Now: visits[len(visits)-1].day.AddDate(0, 0, 30), Sites: []gather.SiteItems{siteOf(visits)}})
		want := visits[i].day.Format(time.DateOnly) + " " + verify.FoundSeason
		if out && (len(got) != 1 || !strings.HasPrefix(got[0], want)) || !out && len(got) > 0 {
			t.Fatalf("%v, %d days off, visits %v\nfound %q", p, off, days(visits), got)
		}
		if out {
			told++
		} else {
			left++
		}
	})
	t.Logf("tried: %d out of season, %d not", told, left)
}
