package years

import (
	"slices"
	"time"

	"linecamp/verify"
	"linecamp/verify/gather"
)

// DueOf is what is due at a site; see visitsDue.
func DueOf(s *gather.SiteItems, now, until time.Time) (due []verify.DueVisit, closed, open []string) {
	return newJudge(s, now).visitsDue(until)
}

// visitsDue are the site's visits that can still be made, in the order of their years,
// and of these those whose season opens until a day. closed says why others are left
// out; open are the folders whose photos may be of others.
func (j *judge) visitsDue(until time.Time) (due []verify.DueVisit, closed, open []string) {
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
		due = append(due, verify.DueVisit{Site: j.Site, Pasture: j.Pasture, Object: j.Object, Year: year, Opens: opens, Closes: closes,
			Over: Today(j.now).After(w.closes), Lacks: append([]string{}, lacks...)})
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
			if l.season = ""; l.what == verify.LackVisit {
				add(v.year, w)
			} else {
				add(v.year, w, l.String())
			}
		}
	}
	expected, _ := j.expected(until.Year() + 1) // a season about the new year opens in the year before its own
	for _, y := range expected {
		if _, explained := j.explanation(y); explained || j.times.visitedAcrossNewYear(y, j.items) {
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
