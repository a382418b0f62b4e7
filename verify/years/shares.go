package years

import (
	"math"
	"slices"
	"time"

	"linecamp/manifest/card"
	"linecamp/verify"
	"linecamp/verify/figures"
	"linecamp/verify/gather"
)

// share is what the visit of one season brought home, where a year has several.
type share struct {
	season string // "10-09"; see seasonName
	window window
	made   bool
	at     int // among the visits of the season that were made
	visitYear
}

// markSeasons shares the years out among their seasons where there are several: by
// habit, and as declared. What is known by its year only may be any season's.
func (j *judge) markSeasons() {
	j.shares, j.series = map[int][]share{}, map[string][]visitYear{}
	ever := map[int][]window{}
	windows := func(year int) []window {
		if ever[year] == nil {
			ever[year] = j.times.ever(year)
		}
		return ever[year]
	}
	for _, v := range j.visited {
		if w := windows(v.year); len(w) > 1 {
			for _, w := range w {
				j.shares[v.year] = append(j.shares[v.year], share{season: j.seasonName(v.year, w), window: w, visitYear: *newVisitYear(v.year)})
			}
		}
	}
	if len(j.shares) == 0 {
		return
	}
	type slot struct{ year, at int }
	slots := map[string]slot{}
	for _, it := range j.items {
		year, ok := verify.YearOf(it.Visit)
		if !ok {
			continue
		}
		d, err := time.Parse(time.DateOnly, it.Visit)
		if err != nil {
			for i := range j.shares[year] {
				j.shares[year][i].take(j, it)
			}
			continue
		}
		s, known := slots[it.Visit]
		if !known {
			s.year, s.at = seasonOf(d, windows)
			slots[it.Visit] = s
		}
		if all := j.shares[s.year]; len(all) > 0 {
			all[s.at].take(j, it)
		}
	}
	for i := range j.visited {
		all := j.shares[j.visited[i].year]
		for k := range all {
			s := &all[k]
			s.count()
			if !s.made {
				continue
			}
			j.visited[i].has[visitKey(s.season)] = true
			if i < len(j.past) {
				s.at = len(j.series[s.season])
				j.series[s.season] = append(j.series[s.season], s.visitYear)
			}
		}
	}
}

func (s *share) take(j *judge, it gather.Item) {
	s.made = true
	if it.Where == gather.InWorking || !j.Accepted(it.Path) {
		s.add(it)
	}
}

// seasonOf is the season that a day belongs to: the one it lies in, be that of a
// neighboring year over the new year, else the nearest of its own year.
func seasonOf(d time.Time, windows func(year int) []window) (year, at int) {
	least := math.MaxInt
	for _, y := range []int{d.Year(), d.Year() - 1, d.Year() + 1} {
		for i, w := range windows(y) {
			if off := w.from(d); off < least && (y == d.Year() || off == 0) {
				least, year, at = off, y, i
			}
		}
	}
	return year, at
}

// made are the shares of a year whose visit was made.
func (j *judge) made(year int) (all []share) {
	for _, s := range j.shares[year] {
		if s.made {
			all = append(all, s)
		}
	}
	return all
}

// seasonName names a window: by the first day of a declared season, by the middle
// of a habitual one, which is the same in every year.
func (j *judge) seasonName(year int, w window) string {
	for _, e := range j.Card.Expected(year) {
		for _, s := range e.Seasons {
			if opens, _ := s.In(year); opens.Equal(w.opens) {
				return s.From.String()
			}
		}
	}
	for _, s := range j.times.seasons {
		if s.window(year) == w {
			middle := s.window(2001) // of no leap year
			return middle.opens.AddDate(0, 0, s.side).Format("01-02")
		}
	}
	return w.opens.Format("01-02")
}

// lacks lists what the year past[i] has not: of what its card declares, and
// where that is silent, of what its neighbors usually have.
func (j *judge) lacks(i int) []lack {
	year := j.past[i].year
	habit := lacking(j.past, i)
	var out []lack
	made := j.made(year)
	if len(made) == 0 {
		out = j.lacksOf(j.past[i], habit, j.declaredFor(year, nil))
	}
	for _, s := range made {
		for _, l := range j.lacksOf(s.visitYear, lacking(j.series[s.season], s.at), j.declaredFor(year, &s.window)) {
			l.season = s.season
			out = append(out, l)
		}
	}
	windows := j.times.windows(year)
	if len(declaredSeasons(&j.Card, year)) == 0 {
		if len(made) >= j.usualVisits(i) {
			return out // each as it was then; seasons of other times may lie between
		}
		for _, l := range habit {
			if l.what == verify.LackVisit && j.misses(year, windows, l.season) {
				out = append(out, l)
			}
		}
		return out
	}
	for _, w := range windows {
		if n := j.seasonName(year, w); len(windows) > 1 && !j.past[i].has[visitKey(n)] && j.misses(year, windows, n) {
			out = append(out, lack{what: verify.LackVisit, season: n})
		}
	}
	return out
}

// usualVisits is in how many seasons the years around past[i] were visited: the
// median before or after, whichever is less.
func (j *judge) usualVisits(i int) int {
	usual := math.MaxInt
	for _, side := range [][]visitYear{j.past[max(0, i-figures.SideYears):i], j.past[i+1 : min(len(j.past), i+1+figures.SideYears)]} {
		var n []int
		for _, v := range side {
			n = append(n, len(j.made(v.year)))
		}
		if len(n) > 0 {
			usual = min(usual, median(n))
		}
	}
	return usual
}

// lacksOf holds one visit against its habit and what is declared.
func (j *judge) lacksOf(here visitYear, habit []lack, d declared) (out []lack) {
	for _, l := range habit {
		if l.what == verify.LackNote && d.note == nil || l.what != verify.LackNote && l.what != verify.LackVisit && d.views == nil {
			out = append(out, l)
		}
	}
	var views []lack
	for _, v := range d.views {
		if !here.has[v] {
			views = append(views, lack{what: v})
		}
	}
	out = append(views[:max(0, len(views)-here.untold)], out...)
	if d.note != nil && *d.note && !here.has[verify.LackNote] {
		out = append(out, lack{what: verify.LackNote})
	}
	return out
}

// misses reports whether a visit is one of several that the year was to have,
// with nothing to keep people from it.
func (j *judge) misses(year int, windows []window, season string) bool {
	return len(windows) > 1 && slices.ContainsFunc(windows, func(w window) bool {
		_, closed := j.closedDuring(w)
		return j.seasonName(year, w) == season && !closed
	})
}

// declared is what a card says of a visit.
type declared struct {
	views []string // it is to bring home; nil where the card does not say
	note  *bool    // whether a note
}

// declaredFor is what the card says of the visit in a window of a year, or of all
// visits of the year.
func (j *judge) declaredFor(year int, in *window) (d declared) {
	for _, e := range j.Card.Expected(year) {
		if in != nil && len(e.Seasons) > 0 && !slices.ContainsFunc(e.Seasons, func(s card.Season) bool {
			opens, _ := s.In(year)
			return opens.Equal(in.opens)
		}) {
			continue
		}
		d.views = append(d.views, e.Views...)
		if e.Note != nil && (d.note == nil || *e.Note) {
			d.note = e.Note
		}
	}
	if d.views == nil {
		for _, v := range j.Card.Views {
			if (v.Since == 0 || v.Since <= year) && (v.Until == 0 || year <= v.Until) {
				d.views = append(d.views, v.Name)
			}
		}
	}
	slices.Sort(d.views)
	d.views = slices.Compact(d.views)
	return d
}

// named names what is lacking. What every visit of the year lacks is named once.
func (j *judge) named(year int, lacks []lack) (names []string) {
	made := len(j.made(year))
	for _, l := range lacks {
		all := 0
		for _, o := range lacks {
			if o.season = l.season; o == l {
				all++
			}
		}
		if l.what != verify.LackVisit && all == made {
			l.season = ""
		}
		if n := l.String(); !slices.Contains(names, n) {
			names = append(names, n)
		}
	}
	return names
}
