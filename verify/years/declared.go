package years

import (
	"maps"
	"slices"
	"time"
)

// expected returns the years up to last in which a visit was expected, or will be,
// and none was made, in order, and the late visits with the years they were expected in.
func (j *judge) expected(last int) (missing []int, late map[int]int) {
	missing, late = expectedGaps(j.rounds, last)
	if len(j.rounds) == 1 {
		if y := j.rounds[0] + 1; y <= last && j.times.open(y, j.now) {
			missing = append(missing, y)
		}
	}
	declared := func(y int) bool { return len(j.Card.Expected(y)) > 0 }
	missing = slices.DeleteFunc(missing, declared)
	maps.DeleteFunc(late, func(y, _ int) bool { return declared(y) })
	if len(j.Card.Expect) > 0 {
		missing = append(missing, j.declaredGaps(late, last)...)
	}
	missing = slices.DeleteFunc(missing, func(y int) bool {
		_, explained := j.explanation(y)
		return !explained && !j.wanted(y)
	})
	slices.Sort(missing)
	return slices.Compact(missing), late
}

// declaredGaps walks the years from the first that is declared: the next visit
// is due so many years after the last one, or after the one that was missed.
func (j *judge) declaredGaps(late map[int]int, until int) (missing []int) {
	visited := map[int]bool{}
	for _, y := range j.rounds {
		visited[y] = true
	}
	first := max(j.Card.Expect[0].Since, j.Card.FirstYear)
	if first == 0 {
		if len(j.rounds) == 0 {
			return nil // nothing says since when
		}
		first = j.rounds[0]
	}
	last := 0 // visited year before the one looked at
	for _, y := range j.rounds {
		if y < first {
			last = y
		}
	}
	due := 0 // not settled yet
	for y := first; y <= until; y++ {
		now := j.Card.Expected(y)
		if len(now) == 0 {
			if visited[y] {
				last = y
			}
			continue
		}
		every := now[0].Every
		if next := max(y, last+every); due == 0 || next < due {
			due = next // a shorter cadence begins with its part
		}
		if visited[y] {
			if y > due && every > 1 {
				late[y] = due
				missing = slices.DeleteFunc(missing, func(m int) bool { return m == due })
			}
			due, last = y+every, y
			continue
		}
		switch {
		case y == due:
			missing = append(missing, y)
		case y == due+every: // the one missed is past help, and the next is due
			missing = append(missing, y)
			due = y
		}
	}
	return missing
}

// wanted reports whether anything is expected of the site in a year: not before
// its first, nor once it was retired or replaced.
func (j *judge) wanted(year int) bool {
	if year < j.Card.FirstYear {
		return false
	}
	if j.Card.Retired == "" {
		return true
	}
	w := j.times.windows(year)
	return w[len(w)-1].closes.Format(time.DateOnly) <= j.Card.Retired
}

// closedIn says why the site could not be visited in a season of the year, if a
// closure touches one.
func (j *judge) closedIn(year int) (why string, ok bool) {
	for _, w := range j.times.windows(year) {
		if why, ok := j.closedDuring(w); ok {
			return why, true
		}
	}
	return "", false
}

// closedDuring says why the site was closed in some part of a season: no one can
// be blamed for not having come on the days that were left.
func (j *judge) closedDuring(w window) (why string, ok bool) {
	opens, closes := w.days()
	for _, c := range j.Card.Closed {
		if c.From <= closes && (c.To == "" || c.To >= opens) {
			if c.Reason == "" {
				return "closed", true
			}
			return "closed: " + c.Reason, true
		}
	}
	return "", false
}
