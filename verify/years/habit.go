package years

import (
	"cmp"
	"fmt"
	"iter"
	"maps"
	"slices"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/verify"
	"linecamp/verify/figures"
	"linecamp/verify/gather"
)

// untold is the view of a photo that nothing tells.
const untold = "untold"

// lack is one thing that a year's visits did not bring home.
type lack struct {
	what    string // a view, or one of the above
	few, of int    // so many photos of so many; 0 where there is none at all
	season  string // of which visit, "10-09"; "" where the year has but one
}

// String is the lack as a report names it: "landscape", "1 of 4 landscape
// photos", "note of 10-09".
func (l lack) String() string {
	s := l.what
	switch {
	case l.few > 0 && l.what == verify.LackAny:
		s = fmt.Sprintf("%d of %d photos", l.few, l.of)
	case l.few > 0:
		s = fmt.Sprintf("%d of %d %s photos", l.few, l.of, l.what)
	}
	if l.season != "" {
		s += " of " + l.season
	}
	return s
}

// means reports whether a name is this lack's: as a report names it, or the view
// alone.
func (l lack) means(name string) bool {
	all := l
	all.season = ""
	return name == l.what || name == l.String() || name == all.String()
}

// visitKey is how a year remembers that the visit of a season was made.
func visitKey(season string) string { return verify.LackVisit + " of " + season }

// visitYear is what one year's visits brought home.
type visitYear struct {
	year   int
	has    map[string]bool // views, "note", "photo", and visits where there are several seasons
	photos map[string]int  // by view, in the fullest visit; those that might be any are untold
	untold int             // all photos that might be any view
	away   []string        // paths no longer in the working folder
	lost   []string        // paths with no good bytes anywhere
	visits []visitPhotos
	seen   map[manifest.Digest]bool // photos counted
}

func newVisitYear(year int) *visitYear {
	return &visitYear{year: year, has: map[string]bool{}}
}

// add takes in one file of the year's visits; count follows the last.
func (v *visitYear) add(it gather.Item) {
	switch it.Where {
	case gather.OnCopy:
		v.away = append(v.away, it.Path)
	case gather.Nowhere:
		v.lost = append(v.lost, it.Path)
	}
	switch it.Kind {
	case manifest.KindNote:
		v.has[verify.LackNote] = true
	case manifest.KindPhoto:
		v.has[verify.LackAny] = true
		view := it.View
		if view == untold || view == "" {
			view = untold
			v.untold++
		} else {
			v.has[view] = true
		}
		if it.File != nil {
			if v.seen[it.File.SHA256] {
				return // a double adds nothing to the number of photos
			}
			if v.seen == nil {
				v.seen = map[manifest.Digest]bool{}
			}
			v.seen[it.File.SHA256] = true
		}
		i := len(v.visits) - 1
		for i >= 0 && v.visits[i].visit != it.Visit {
			i--
		}
		if i < 0 {
			i = len(v.visits)
			v.visits = append(v.visits, visitPhotos{it.Visit, map[string]int{}})
		}
		v.visits[i].photos[view]++
	}
}

// visitPhotos are the photos of one visit, by view.
type visitPhotos struct {
	visit  string
	photos map[string]int
}

// count finds out how many photos of each view the fullest of the year's visits
// has: a second visit, or one of two winters, makes no habit. Days close to each
// other are one visit. What is known by its year only belongs to any.
func (v *visitYear) count() {
	switch len(v.visits) {
	case 0:
		v.photos = nil
		return
	case 1:
		v.photos = v.visits[0].photos
		return
	}
	slices.SortFunc(v.visits, func(a, b visitPhotos) int { return cmp.Compare(a.visit, b.visit) })
	bare := map[string]int{}
	if len(v.visits[0].visit) == 4 {
		bare = v.visits[0].photos
	}
	v.photos = map[string]int{}
	var last time.Time
	var one map[string]int
	for _, p := range v.visits {
		d, err := time.Parse(time.DateOnly, p.visit)
		if err != nil {
			maps.Copy(v.photos, p.photos)
			continue
		}
		if one == nil || d.Sub(last) > figures.SameVisit*24*time.Hour {
			one = maps.Clone(bare)
		}
		last = d
		for view, n := range p.photos {
			one[view] += n
			v.photos[view] = max(v.photos[view], one[view])
		}
	}
}

// byYear sorts a site's items into the years of their visits. Changes a person
// accepted are no loss.
func byYear(s *gather.SiteItems, items []gather.Item) []visitYear {
	years := map[int]*visitYear{}
	for _, it := range items {
		n, ok := verify.YearOf(it.Visit)
		if !ok || (it.Where != gather.InWorking && s.Accepted(it.Path)) {
			continue
		}
		if years[n] == nil {
			years[n] = newVisitYear(n)
		}
		years[n].add(it)
	}
	out := make([]visitYear, 0, len(years))
	for _, v := range years {
		v.count()
		slices.Sort(v.away)
		slices.Sort(v.lost)
		if len(v.has) > 0 || len(v.away)+len(v.lost) > 0 {
			out = append(out, *v)
		}
	}
	slices.SortFunc(out, func(a, b visitYear) int { return a.year - b.year })
	return out
}

// numbers are the years of what was visited.
func numbers(visited []visitYear) []int {
	out := make([]int, len(visited))
	for i, v := range visited {
		out[i] = v.year
	}
	return out
}

// lacking lists what years[i] has not and the years of its habit usually have:
// views, photos, the note, visits.
func lacking(years []visitYear, i int) []lack {
	if baseline(gapsOf(numbers(years))) {
		if i == 0 {
			return nil // another time's visit, by another habit
		}
		years, i = years[1:], i-1
	}
	here := years[i]
	usual := map[string]int{} // what is lacking, by how many neighbors have it
	for j := range near(years, i) {
		for k := range years[j].has {
			if here.has[k] || usual[k] != 0 {
				continue
			}
			usual[k] = -1
			if n := neighborsOf(years, i, func(v *visitYear) bool { return v.has[k] }); n.usual() {
				usual[k] = n.had
			}
		}
	}
	maps.DeleteFunc(usual, func(_ string, n int) bool { return n < 0 })
	var views, visits []lack
	for k := range usual {
		if season, ok := strings.CutPrefix(k, visitKey("")); ok {
			visits = append(visits, lack{what: verify.LackVisit, season: season})
		} else if k != verify.LackNote && k != verify.LackAny {
			views = append(views, lack{what: k})
		}
	}
	byName := func(a, b lack) int { return cmp.Or(cmp.Compare(a.what, b.what), cmp.Compare(a.season, b.season)) }
	// Each photo of unknown view may be one of those lacking: the least usual
	// are given the benefit of the doubt.
	slices.SortFunc(views, func(a, b lack) int { return cmp.Or(usual[b.what]-usual[a.what], byName(a, b)) })
	doubt := here.untold
	views, doubt = views[:max(0, len(views)-doubt)], max(0, doubt-len(views))
	slices.SortFunc(views, byName)
	if len(views) == 0 && usual[verify.LackAny] > 0 {
		views = append(views, lack{what: verify.LackAny})
	}
	if len(views) == 0 {
		views = fewer(years, i, doubt)
	}
	if usual[verify.LackNote] > 0 {
		views = append(views, lack{what: verify.LackNote})
	}
	slices.SortFunc(visits, byName)
	return append(views, visits...)
}

// near are the indices of the years looked at around years[i], but for itself.
func near(years []visitYear, i int) iter.Seq[int] {
	return func(yield func(int) bool) {
		for j := max(0, i-figures.SideYears); j < min(len(years), i+1+figures.SideYears); j++ {
			if j != i && !yield(j) {
				return
			}
		}
	}
}

// neighbors are the years around one that keep the same habit about a thing.
type neighbors struct {
	years   []*visitYear
	had     int  // of them, those that have it
	before  bool // one of those is an earlier year
	changed bool // another habit ends or begins beside them
	run     bool // three running have it
	apart   bool // the year itself is of a habit without it
}

// neighborsOf looks at up to four years on each side of years[i], and not beyond
// a change: three years running without the thing are a habit of their own, and
// nothing is judged by another habit's years.
func neighborsOf(years []visitYear, i int, has func(*visitYear) bool) (n neighbors) {
	without := func(j int) bool {
		from, to := j, j
		for from >= 0 && j-from < figures.HabitRun && !has(&years[from]) {
			from--
		}
		for to < len(years) && to-j < figures.HabitRun && !has(&years[to]) {
			to++
		}
		return to-from-1 >= figures.HabitRun
	}
	if without(i) {
		return neighbors{apart: true}
	}
	walk := func(step int) {
		running := 0
		for j := i + step; j >= 0 && j < len(years); j += step {
			if without(j) {
				n.changed = true
				return
			}
			had := has(&years[j])
			if running++; !had {
				running = 0
			}
			n.run = n.run || running >= figures.HabitRun
			if (j-i)*step > figures.SideYears {
				continue
			}
			n.years = append(n.years, &years[j])
			if had {
				n.had++
				n.before = n.before || step < 0
			}
		}
	}
	walk(-1)
	walk(1)
	return n
}

// usual reports whether the thing is a habit that the year should have kept.
func (n neighbors) usual() bool {
	all := len(n.years)
	if n.apart || n.had < figures.FewestHad || !figures.Most(n.had, all) || n.changed && !n.run {
		return false
	}
	return n.before || n.had == all && all > figures.FewestHad
}

// fewer finds the view of which years[i] has fewer photos than its neighbors, if
// their number is a habit: the same in three of four, at least four of them, and
// less in none. Of photos whose view nothing tells, all are counted together. Photos
// of unknown view (as many as are in doubt), or of a view that no neighbor has, may
// be those that seem to lack.
func fewer(years []visitYear, i, doubt int) (out []lack) {
	here, told, less := years[i], false, false
	seen := map[string]bool{}
	for j := range near(years, i) {
		for k, n := range years[j].photos {
			seen[k] = true
			less = less || 0 < here.photos[k] && here.photos[k] < n
		}
	}
	if !less {
		return nil
	}
	for k, n := range here.photos {
		told = told || k != untold
		if k != untold && !seen[k] {
			doubt += n
		}
	}
	for k := range seen {
		told = told || k != untold
	}
	for k, have := range here.photos {
		what, doubt := k, doubt
		if k == untold {
			if told {
				continue
			}
			what, doubt = verify.LackAny, 0
		}
		if of := usualNumber(years, i, k); of-have-doubt > 0 {
			out = append(out, lack{what: what, few: of - have - doubt, of: of})
		}
	}
	slices.SortFunc(out, func(a, b lack) int { return cmp.Compare(a.what, b.what) })
	return out
}

// usualNumber is how many photos of a view the neighbors of years[i] have, where
// that is a habit, and more than years[i] has; else 0.
func usualNumber(years []visitYear, i int, view string) (of int) {
	for j := range near(years, i) {
		number := years[j].photos[view]
		if number <= max(years[i].photos[view], of) {
			continue
		}
		n := neighborsOf(years, i, func(v *visitYear) bool { return v.photos[view] >= number })
		same := 0
		for _, v := range n.years {
			if v.photos[view] == number {
				same++
			}
		}
		if all := len(n.years); n.usual() && n.before && n.had == all && all >= figures.FewestCounted && figures.Most(same, all) {
			of = number
		}
	}
	return of
}
