package years

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"linecamp/verify"
	"linecamp/verify/figures"
	"linecamp/verify/gather"
)

// Habit is what the newest visits of a site have in common.
type Habit struct {
	Since, Years, Every int // Every is 0 where the visits tell no cadence
	Seasons             []string
	Views               []string
	Note                bool
}

// PresentHabit goes back from the newest visited year for as long as nothing of
// what it has is lacking and no visit was skipped.
func PresentHabit(s *gather.SiteItems, now time.Time) (h Habit) {
	items := s.List()
	years := byYear(s, items)
	years = slices.DeleteFunc(years, func(v visitYear) bool { return v.year > now.Year() })
	if len(years) < figures.HabitRun {
		return Habit{}
	}
	last := years[len(years)-1]
	gaps := gapsOf(numbers(years))
	h.Every = median(gaps[max(0, len(gaps)-figures.SideGaps):])
	for _, v := range slices.Sorted(maps.Keys(last.has)) {
		if v != verify.LackNote && v != verify.LackAny {
			h.Views = append(h.Views, v)
		}
	}
	h.Note = last.has[verify.LackNote]
	from := len(years) - 1
	for from > 0 && gaps[from-1] == h.Every && years[from-1].has[verify.LackNote] == h.Note &&
		!slices.ContainsFunc(h.Views, func(v string) bool { return !years[from-1].has[v] }) {
		from--
	}
	h.Since, h.Years = years[from].year, len(years)-from
	if h.Years < figures.HabitRun {
		return Habit{}
	}
	t := newTimetable(s, items, years, now)
	for i, season := range t.seasons {
		if season.known && (len(t.seasons) == 1 || t.live(i, now.Year()+1)) {
			w := season.window(2001) // of no leap year
			h.Seasons = append(h.Seasons, fmt.Sprintf("%q", w.opens.Format("01-02")+" to "+w.closes.Format("01-02")))
		}
	}
	return h
}

// ViewSince is the first of the visited years running until now that have a view.
func ViewSince(s *gather.SiteItems, view string) (since int) {
	years := byYear(s, s.List())
	for i := len(years) - 1; i >= 0 && (since == 0 || years[i].has[view]); i-- {
		if years[i].has[view] {
			since = years[i].year
		}
	}
	return since
}
