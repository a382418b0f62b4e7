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

// season is the part of the year in which a site is visited. The zero value is
// the whole year.
type season struct {
	known bool
	mean  float64   // fraction of the year, 0 at its beginning
	side  int       // days on each side
	days  []float64 // the visits it is made of, as fractions
}

// seasonsOf finds the seasons in the days of the visits; a visit of unknown day
// does not count. Days that lie close together on the circle of the year are one
// season, unless most years have several visits in it; a few days apart from all
// others are none, where there are others. It returns at least one, in the order of
// the year.
func seasonsOf(items []gather.Item, now time.Time) []season {
	days := map[time.Time]bool{}
	for _, it := range items {
		if d, err := time.Parse(time.DateOnly, it.Visit); err == nil && d.Year() <= now.Year() {
			days[d] = true
		}
	}
	if len(days) == 0 {
		return []season{{}}
	}
	fractions := make([]float64, 0, len(days))
	years := map[int][]float64{}
	for d := range days {
		f := fractionOf(d)
		fractions = append(fractions, f)
		years[d.Year()] = append(years[d.Year()], f)
	}
	slices.Sort(fractions)
	all := clusters(fractions, figures.Apart[0])
	for _, days := range figures.Apart {
		if c := clusters(fractions, days); separate(c, years) {
			all = c
			break
		}
	}
	kept := slices.DeleteFunc(slices.Clone(all), func(c []float64) bool { return len(c) < figures.FewestDays })
	if len(kept) == 0 {
		kept = [][]float64{fractions}
	}
	var out []season
	for _, c := range kept {
		s := seasonOfDays(c)
		if s.side > figures.MostSide {
			return []season{{}}
		}
		out = append(out, s)
	}
	slices.SortFunc(out, func(a, b season) int {
		if a.mean < b.mean {
			return -1
		}
		return 1
	})
	return out
}

func seasonOfDays(days []float64) season {
	mean, deviation := circular(days)
	return season{known: true, mean: mean, side: max(figures.LeastSide, int(math.Ceil(figures.Deviations*deviation*365.25))), days: days}
}

// without is the season as the other visits keep it: one that was far off is not
// held against what it widened itself. Where two others came as late or as early,
// or too few are left to tell, it is the season as it is.
func (s season) without(d time.Time) season {
	f := fractionOf(d)
	i := slices.Index(s.days, f)
	if i < 0 || len(s.days) < figures.HabitDays {
		return s
	}
	rest := slices.Delete(slices.Clone(s.days), i, i+1)
	company := 0
	for _, o := range rest {
		if apart := math.Abs(o - f); min(apart, 1-apart)*365.25 <= figures.SeasonDays {
			company++
		}
	}
	if company >= figures.HabitRun-1 {
		return s
	}
	return seasonOfDays(rest)
}

// fractionOf is how much of its year has passed on a day.
func fractionOf(d time.Time) float64 { return float64(d.YearDay()-1) / float64(daysIn(d.Year())) }

// separate reports whether, in three of four years that have several visits, no
// two of them are of one cluster.
func separate(clusters [][]float64, years map[int][]float64) bool {
	of := func(f float64) int {
		return slices.IndexFunc(clusters, func(c []float64) bool { return slices.Contains(c, f) })
	}
	several, apart := 0, 0
	for _, all := range years {
		slices.Sort(all)
		visits := all[:1:1]
		for _, f := range all[1:] {
			if (f-visits[len(visits)-1])*365.25 > figures.SameVisit {
				visits = append(visits, f)
			}
		}
		if len(visits) == 1 {
			continue
		}
		several++
		seen := map[int]bool{}
		for _, f := range visits {
			seen[of(f)] = true
		}
		if len(seen) == len(visits) {
			apart++
		}
	}
	return figures.Most(apart, several)
}

// clusters cuts sorted fractions of a circle wherever it is empty for more than so
// many days.
func clusters(f []float64, apart float64) [][]float64 {
	var out [][]float64
	var current []float64
	for i, x := range f {
		if i > 0 && (x-f[i-1])*365.25 > apart {
			out = append(out, current)
			current = nil
		}
		current = append(current, x)
	}
	out = append(out, current)
	if n := len(out); n > 1 && (f[0]+1-f[len(f)-1])*365.25 <= apart { // over the new year
		out[0] = append(out[n-1], out[0]...)
		out = out[:n-1]
	}
	return out
}

// circular returns the mean and the standard deviation of fractions of a
// circle: the direction of the sum of unit vectors, and sqrt(-2 ln R) with R
// the length of their mean (Mardia and Jupp, Directional Statistics, section
// 2.3; from memory).
func circular(fractions []float64) (mean, deviation float64) {
	var x, y float64
	for _, f := range fractions {
		sin, cos := math.Sincos(2 * math.Pi * f)
		x += cos
		y += sin
	}
	n := float64(len(fractions))
	r := math.Hypot(x, y) / n
	mean = math.Atan2(y, x) / (2 * math.Pi)
	if mean < 0 {
		mean++
	}
	if r >= 1 {
		return mean, 0
	}
	if r < 1e-9 {
		return mean, math.Inf(1)
	}
	return mean, math.Sqrt(-2*math.Log(r)) / (2 * math.Pi)
}

// window is a season of one year: its first and its last day, at midnight UTC.
type window struct{ opens, closes time.Time }

func (w window) days() (opens, closes string) {
	return w.opens.Format(time.DateOnly), w.closes.Format(time.DateOnly)
}

// open reports whether the visit can still come: the season is not over, or
// ended within the grace. The last day counts.
func (w window) open(now time.Time) bool {
	return !Today(now).After(w.closes.AddDate(0, 0, figures.Grace))
}

// from is how many days a day lies outside the window, 0 inside it.
func (w window) from(d time.Time) int {
	switch {
	case d.Before(w.opens):
		return int(w.opens.Sub(d).Hours() / 24)
	case d.After(w.closes):
		return int(d.Sub(w.closes).Hours() / 24)
	}
	return 0
}

// fromNewYear is how many days lie between the middle of a window that spans the
// new year and that.
func (w window) fromNewYear() int {
	before := int(time.Date(w.closes.Year(), 1, 1, 0, 0, 0, 0, time.UTC).Sub(w.opens).Hours() / 24)
	after := int(w.closes.Sub(w.opens).Hours()/24) - before
	return max(before-after, after-before) / 2
}

func Today(now time.Time) time.Time {
	return time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, time.UTC)
}

// window is the season in a year.
func (s season) window(year int) window {
	first := time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC)
	if !s.known {
		return window{first, time.Date(year, 12, 31, 0, 0, 0, 0, time.UTC)}
	}
	middle := first.AddDate(0, 0, int(math.Round(s.mean*float64(daysIn(year)))))
	return window{middle.AddDate(0, 0, -s.side), middle.AddDate(0, 0, s.side)}
}

// timetable says when a site's visits are due: as its card declares, else as
// they have been made.
type timetable struct {
	card    *card.Card
	seasons []season
	// visited are the years in which each of the seasons was visited, in order.
	visited [][]int
	years   []int // all years visited, in order
}

func newTimetable(s *gather.SiteItems, items []gather.Item, visited []visitYear, now time.Time) *timetable {
	t := &timetable{card: &s.Card, seasons: seasonsOf(items, now)}
	t.visited = make([][]int, len(t.seasons))
	for _, v := range visited {
		t.years = append(t.years, v.year)
	}
	for _, d := range visitDays(items) {
		if i, year := t.nearest(d); !slices.Contains(t.visited[i], year) {
			t.visited[i] = append(t.visited[i], year)
		}
	}
	for i := range t.visited {
		slices.Sort(t.visited[i])
	}
	return t
}

// nearest is the habitual season that a day belongs to, and its year.
func (t *timetable) nearest(d time.Time) (index, year int) {
	best := math.MaxInt
	for i, s := range t.seasons {
		for y := d.Year() - 1; y <= d.Year()+1; y++ {
			if off := s.window(y).from(d); off < best || off == best && y == d.Year() {
				best, index, year = off, i, y
			}
		}
	}
	return index, year
}

// windows are the seasons of a year, at least one, in order.
func (t *timetable) windows(year int) (out []window) {
	declared := t.card.Expected(year)
	for _, e := range declared {
		for _, s := range e.Seasons {
			opens, closes := s.In(year)
			out = append(out, window{opens, closes})
		}
	}
	if len(out) == 0 {
		for i, s := range t.seasons {
			if len(t.seasons) == 1 || t.live(i, year) {
				out = append(out, s.window(year))
			}
		}
	}
	if len(out) == 0 {
		for _, s := range t.seasons {
			out = append(out, s.window(year))
		}
	}
	slices.SortFunc(out, func(a, b window) int { return a.opens.Compare(b.opens) })
	return out
}

// ever are the windows of a year in which a visit is at its time: those declared,
// else every season the site ever kept, since the first visits of a new season
// are not judged by the one before.
func (t *timetable) ever(year int) (out []window) {
	if len(declaredSeasons(t.card, year)) > 0 {
		return t.windows(year)
	}
	for _, s := range t.seasons {
		out = append(out, s.window(year))
	}
	return out
}

// close reports whether a day lies so close to the middle of a habitual season that
// it is within its window, or that many days from it, whatever the other days are.
func (t *timetable) close(d time.Time, days int) bool {
	f := fractionOf(d)
	return slices.ContainsFunc(t.seasons, func(s season) bool {
		apart := math.Abs(s.mean - f)
		return s.known && min(apart, 1-apart)*365.25 <= float64(min(days, figures.SeasonDays))
	})
}

// others are the same windows as the visits of other days keep them.
func (t *timetable) others(year int, d time.Time) (out []window) {
	if len(declaredSeasons(t.card, year)) > 0 {
		return t.windows(year)
	}
	for _, s := range t.seasons {
		out = append(out, s.without(d).window(year))
	}
	return out
}

// live reports whether a season was still visited in the last years before a
// year, or, at the beginning, in the first years after it. What was given up
// belongs to another time.
func (t *timetable) live(i, year int) bool {
	at, _ := slices.BinarySearch(t.years, year)
	near := t.years[max(0, at-figures.LiveYears):at]
	if len(near) == 0 {
		near = t.years[at:min(len(t.years), at+figures.LiveYears)]
	}
	return slices.ContainsFunc(near, func(y int) bool { return slices.Contains(t.visited[i], y) })
}

// open reports whether a visit of the year can still come.
func (t *timetable) open(year int, now time.Time) bool {
	w := t.windows(year)
	return w[len(w)-1].open(now)
}

// next is the window of a year to name to a person: the first that is not over
// on that day, else the last.
func (t *timetable) next(year int, now time.Time) window {
	all := t.windows(year)
	for _, w := range all {
		if !Today(now).After(w.closes) {
			return w
		}
	}
	return all[len(all)-1]
}

// rounds are the years that were visited, in order. The days of a season that
// spans the new year count together, for the year in which most of them lie.
func (t *timetable) rounds(dated []int, items []gather.Item, now time.Time) []int {
	var before, after []time.Time // days of such seasons, by the side of the new year they lie on
	count := map[int]int{}        // days dated in a year
	for _, d := range visitDays(items) {
		if d.Year() > now.Year() {
			continue
		}
		count[d.Year()]++
		w := t.around(d)
		switch {
		case !t.overNewYear(w) || w.from(d) > figures.SeasonDays:
		case w.opens.Year() == d.Year():
			before = append(before, d)
		default:
			after = append(after, d)
		}
	}
	out := slices.Clone(dated)
	move := func(days []time.Time, by int) {
		for _, d := range days {
			out = append(out, d.Year()+by)
			if count[d.Year()]--; count[d.Year()] == 0 && !bareYear(items, d.Year()) { // nothing else was dated in it
				out = slices.DeleteFunc(out, func(y int) bool { return y == d.Year() })
			}
		}
	}
	if len(before) > len(after) {
		move(after, -1)
	} else {
		move(before, 1)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// around is the window that a day lies in, or the nearest one.
func (t *timetable) around(d time.Time) (best window) {
	least := math.MaxInt
	for y := d.Year() - 1; y <= d.Year()+1; y++ {
		for _, w := range t.windows(y) {
			if n := w.from(d); n < least {
				best, least = w, n
			}
		}
	}
	return best
}

// bareYear reports whether a visit is known by that year only.
func bareYear(items []gather.Item, year int) bool {
	return slices.ContainsFunc(items, func(it gather.Item) bool {
		n, ok := verify.YearOf(it.Visit)
		return ok && n == year && len(it.Visit) == 4
	})
}

// overNewYear reports whether the visits of a window may be dated in either of two
// years. A habitual one with its middle far from the new year is only wide, and all
// its days are of one year.
func (t *timetable) overNewYear(w window) bool {
	return w.opens.Year() != w.closes.Year() &&
		(w.fromNewYear() <= figures.AboutNewYear || len(declaredSeasons(t.card, w.opens.Year())) > 0)
}

// visitedAcrossNewYear reports whether a season that spans the new year has a
// visit that may have been this year's and is dated in the neighboring year.
// Where a site keeps several seasons, or kept them one after another, nothing
// tells which of the two years it was.
func (t *timetable) visitedAcrossNewYear(year int, items []gather.Item) bool {
	days := visitDays(items)
	for y := year - 1; y <= year+1; y++ {
		if y != year && len(t.seasons) == 1 {
			continue
		}
		for _, w := range t.windows(y) {
			if !t.overNewYear(w) || w.opens.Year() > year || w.closes.Year() < year {
				continue
			}
			if slices.ContainsFunc(days, func(d time.Time) bool { return w.from(d) == 0 }) {
				return true
			}
		}
	}
	return false
}

// visitDays are the days of visits with a known day.
func visitDays(items []gather.Item) (days []time.Time) {
	seen := map[string]bool{}
	for _, it := range items {
		if seen[it.Visit] {
			continue
		}
		seen[it.Visit] = true
		if d, err := time.Parse(time.DateOnly, it.Visit); err == nil {
			days = append(days, d)
		}
	}
	slices.SortFunc(days, time.Time.Compare)
	return days
}

func daysIn(year int) int { return time.Date(year, 12, 31, 0, 0, 0, 0, time.UTC).YearDay() }
