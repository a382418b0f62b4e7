package verify

import (
	"cmp"
	"slices"
	"time"
)

// DueVisits lists the visits that are due now, and those whose season opens within so
// many days, taking it that what is due until then is done. So a wider look only adds
// to a closer one. Each season is a visit of its own.
func DueVisits(in YearsInput, within int) DueReport {
	r := DueReport{Visits: []DueVisit{}, Closed: []ClosedSite{}}
	until := today(in.Now).AddDate(0, 0, within)
	positions := places(in)
	look := func(until time.Time) (all []DueVisit) {
		for i := range in.Sites {
			due, closed, open := newJudge(&in.Sites[i], in.Now).visitsDue(until)
			if open != nil && !slices.Contains(r.Notes, in.Sites[i].asked(open)) {
				r.Notes = append(r.Notes, in.Sites[i].asked(open))
			}
			for _, v := range due {
				if positions[i].known {
					v.Position = &positions[i].at
				}
				all = append(all, v)
			}
			for _, why := range closed {
				c := ClosedSite{in.Sites[i].Site, in.Sites[i].Pasture, why}
				if !slices.Contains(r.Closed, c) {
					r.Closed = append(r.Closed, c)
				}
			}
		}
		return all
	}
	r.Visits = append(r.Visits, look(until)...)
	slices.SortStableFunc(r.Visits, func(a, b DueVisit) int {
		return cmp.Or(cmp.Compare(a.Closes, b.Closes), cmp.Compare(a.Opens, b.Opens), cmp.Compare(a.Pasture, b.Pasture), cmp.Compare(a.Site, b.Site))
	})
	if len(r.Visits) > 0 {
		return r
	}
	closed := r.Closed
	if later := look(today(in.Now).AddDate(mostYearsAhead, 0, 0)); len(later) > 0 {
		next := slices.MinFunc(later, func(a, b DueVisit) int { return cmp.Compare(a.Opens, b.Opens) })
		opens, _ := time.Parse(time.DateOnly, next.Opens)
		r.Next, r.ahead = &next, int(opens.Sub(today(in.Now)).Hours()/24)
	}
	r.Closed = closed // what is closed in years to come is nobody's question now
	return r
}

// mostYearsAhead is how far ahead the next visit is looked for: beyond the longest
// cadence that a card can declare.
const mostYearsAhead = 51

// visitsDue are the site's visits that can still be made, in the order of their years,
// and of these those whose season opens until a day. closed says why others are left
// out; open are the folders whose photos may be of others.
func (j *judge) visitsDue(until time.Time) (due []DueVisit, closed, open []string) {
	add := func(year int, w window, lacks ...string) {
		if !w.open(j.now) || w.opens.After(until) {
			return
		}
		opens, closes := w.days()
		for i := range due {
			if v := &due[i]; v.Year == year && v.Opens == opens && v.Closes == closes {
				for _, l := range lacks {
					if !slices.Contains(v.Lacks, l) {
						v.Lacks = append(v.Lacks, l)
					}
				}
				return
			}
		}
		due = append(due, DueVisit{Site: j.Site, Pasture: j.Pasture, Object: j.Object, Year: year, Opens: opens, Closes: closes,
			Over: today(j.now).After(w.closes), Lacks: append([]string{}, lacks...)})
	}
	for i, v := range j.past {
		left, _ := j.unexplained(v.year, j.lacks(i))
		if in := j.mayBeOf(v.year); len(left) > 0 && in != nil {
			if j.times.open(v.year, j.now) {
				open = append(open, in...)
			}
			continue
		}
		for _, l := range left {
			w := j.windowOf(v.year, l.season)
			if l.season = ""; l.what == lackVisit {
				add(v.year, w)
			} else {
				add(v.year, w, l.String())
			}
		}
	}
	expected, _ := j.expected(until.Year() + 1) // a season about the new year opens in the year before its own
	for _, y := range expected {
		if _, explained := j.explanation(y); explained || j.times.visitedAcrossNewYear(y, j.Items) {
			continue
		}
		if in := j.mayBeOf(y); in != nil && y <= j.now.Year() {
			if j.times.open(y, j.now) {
				open = append(open, in...)
			}
			continue
		}
		for _, w := range j.times.windows(y) {
			if why, ok := j.closedDuring(w); !ok {
				add(y, w)
			} else if y == j.now.Year() || w.open(j.now) && !w.opens.After(until) {
				closed = append(closed, why)
			}
		}
	}
	slices.Sort(open)
	return due, closed, slices.Compact(open)
}

// windowOf is the window of a season of a visited year; without a name, the one to
// name to a person.
func (j *judge) windowOf(year int, season string) window {
	for _, s := range j.shares[year] {
		if s.season == season {
			return s.window
		}
	}
	for _, w := range j.times.windows(year) {
		if season != "" && j.seasonName(year, w) == season {
			return w
		}
	}
	return j.times.next(year, j.now)
}
