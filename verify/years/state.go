package years

import (
	"time"

	"linecamp/verify"
)

func (j *judge) year(y int, state string, lacks []string) verify.Year {
	if lacks == nil {
		lacks = []string{}
	}
	return verify.Year{Site: j.Site, Pasture: j.Pasture, Object: j.Object, Year: y, State: state, Lacks: lacks}
}

// visitedYear judges the year of visited[i].
func (j *judge) visitedYear(v visitYear, i int) verify.Year {
	if len(v.lost) > 0 {
		return j.year(v.year, verify.Lost, v.lost)
	}
	if len(v.away) > 0 {
		y := j.year(v.year, verify.Recoverable, v.away)
		y.From = j.objectsOf(v.away)
		return y
	}
	if i >= len(j.past) {
		return j.year(v.year, verify.Whole, nil)
	}
	lacks := j.lacks(i)
	if len(lacks) == 0 {
		return j.year(v.year, verify.Whole, nil)
	}
	left, why := j.unexplained(v.year, lacks)
	if len(left) == 0 {
		y := j.year(v.year, verify.Explained, j.named(v.year, lacks))
		y.Why = why
		return y
	}
	if in := j.mayBeOf(v.year); in != nil {
		y := j.year(v.year, verify.Due, nil)
		y.Undated = in
		return y
	}
	if j.times.open(v.year, j.now) {
		y := j.year(v.year, verify.Due, j.named(v.year, left))
		within(&y, j.times.next(v.year, j.now), j.now)
		return y
	}
	return j.year(v.year, verify.Short, j.named(v.year, left))
}

// within gives a due year its season.
func within(y *verify.Year, w window, now time.Time) {
	y.Opens, y.Closes = w.days()
	y.Over = Today(now).After(w.closes)
}

// emptyYear judges a year that was expected and has nothing.
func (j *judge) emptyYear(n int) verify.Year {
	why, ok := j.explanation(n)
	closed := false
	if !ok {
		why, closed = j.closedIn(n)
	}
	if ok || closed {
		y := j.year(n, verify.Explained, nil)
		y.Why, y.Closed = why, closed
		return y
	}
	if in := j.mayExplain(n); in != nil {
		y := j.year(n, verify.Due, nil)
		y.Undated = in
		return y
	}
	if j.times.open(n, j.now) {
		y := j.year(n, verify.Due, nil)
		within(&y, j.times.next(n, j.now), j.now)
		return y
	}
	return j.year(n, verify.Skipped, nil)
}
