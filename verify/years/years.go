// Package years says which years of a site's record are missing. Call [Judge] with what
// linecamp/verify/gather brought together: each year of each site is whole, short,
// skipped, recoverable, lost, due or explained. The rules stand with [Judge], their
// figures in linecamp/verify/figures; both would rather be late than wrong.
package years

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/dates"
	"linecamp/verify"
	"linecamp/verify/gather"
)

// Judge judges every year of every site, from the site's first year to this
// one. A year has one state; the graver one wins: lost, recoverable, short,
// skipped, and an explanation takes the place of short and skipped. Where photos of
// the site are of no known day and may be of the year, it is due until that is told.
//
// A year without any visit is listed only where one was to be expected:
//
//   - The cadence is the median number of years between visits, of up to four
//     gaps before and four after, whichever side is the longer. A gap no longer
//     than that is no gap, and neither is one of three running that are as long,
//     so a site visited every second year has no skipped years, and neither has
//     one that changed from yearly to every second year once it did so twice.
//   - Where the cadence is two years or more, a late visit closes the gap.
//   - A lone first visit long before the regular ones is a baseline; the years
//     between are not counted.
//   - A single visit is no habit: the year after it is due while it can be,
//     and never skipped.
//
// A year that was expected and has no visit is due until 90 days after its
// season, then skipped. A visit that lacks something is due with what it lacks
// as long, then short. Visit days that lie within 45 days of each other on the
// circle of the year are one season: their circular mean and twice their
// circular deviation on each side, at least 14 days; the whole year where the
// days are not known or spread over most of it. Where a site is visited in
// several seasons, a year that usually has each and has not is short of one.
//
// A visit lacks a view, a note or its photos only where the site usually has
// one: at least three in four of the (up to) four visited years before and four
// after, at least two of them, and one of them before; or all of at least
// three. Three visits running without a landscape are a new habit and no fault,
// and the years on its other side are not looked at. Where there are several
// seasons, each is held against its own visits of other years. A photo whose view
// nothing tells may be any that is lacking. The number of photos of a view, or of
// all where none tells its view, is a habit as well, where it is the same in three
// of four neighbors, at least four of them, and in none of them less.
//
// What a site's card declares takes the place of what its history tells: when
// visits are due, which views they bring home, whether a note. A year in which
// the site was closed is explained by that. Nothing is expected of a site before
// its first year, after it was retired, or once another has replaced it.
//
// The figures (90 days, four years, three in four, two deviations, 14 days) stand in
// linecamp/verify/figures, each with where it comes from.
func Judge(in gather.Input) []verify.Year {
	var years []verify.Year
	for _, s := range in.Sites {
		years = append(years, yearsOf(s, in.Now)...)
	}
	slices.SortStableFunc(years, func(a, b verify.Year) int {
		return cmp.Or(cmp.Compare(a.Pasture, b.Pasture), cmp.Compare(a.Site, b.Site),
			cmp.Compare(a.Object, b.Object), cmp.Compare(a.Year, b.Year))
	})
	return years
}

// judge is one site while its years are judged.
type judge struct {
	*gather.SiteItems
	now     time.Time
	items   []gather.Item
	visited []visitYear
	past    []visitYear // without years to come
	rounds  []int       // the years whose visit was made: a season over the new year is of one of them
	times   *timetable
	shares  map[int][]share        // by year, of the years that have several seasons
	series  map[string][]visitYear // the visits of each such season, without years to come
	doubts  []dates.Doubt          // photos that may be of a visit, of one year or another
	anyway  []int                  // years expected and not visited, were they of all the years they may be of
}

func newJudge(s *gather.SiteItems, now time.Time) *judge {
	j := &judge{SiteItems: s, now: now, items: s.List()}
	j.visited = byYear(s, j.items)
	// A visit dated after this year is a camera's clock: it is kept and shown,
	// and nothing is judged by it.
	j.past = j.visited
	for len(j.past) > 0 && j.past[len(j.past)-1].year > now.Year() {
		j.past = j.past[:len(j.past)-1]
	}
	j.times = newTimetable(s, j.items, j.past, now)
	j.rounds = j.times.rounds(numbers(j.past), j.items, now)
	j.markSeasons()
	j.findDoubts()
	return j
}

// yearsOf judges one site.
func yearsOf(s gather.SiteItems, now time.Time) []verify.Year {
	j := newJudge(&s, now)
	expected, late := j.expected(now.Year())
	if len(j.visited)+len(expected) == 0 {
		return nil
	}
	lone := baseline(gapsOf(j.rounds))
	var out []verify.Year
	for i, v := range j.visited {
		y := j.visitedYear(v, i)
		y.Late = late[v.year]
		y.Baseline = i == 0 && lone
		out = append(out, y)
	}
	first := now.Year()
	if len(out) > 0 {
		first = out[0].Year
	}
	for _, y := range expected {
		if !j.times.visitedAcrossNewYear(y, j.items) {
			out = append(out, j.emptyYear(y))
			first = min(first, y)
		}
	}
	return append(out, j.explainedOnly(out, first, now.Year())...)
}

// explainedOnly adds the years a person explained that nothing else listed.
func (j *judge) explainedOnly(listed []verify.Year, first, last int) []verify.Year {
	var out []verify.Year
	for n := first; n <= last; n++ {
		if slices.ContainsFunc(listed, func(y verify.Year) bool { return y.Year == n }) {
			continue
		}
		if why, ok := j.explanation(n); ok {
			y := j.year(n, verify.Explained, nil)
			y.Why = why
			out = append(out, y)
		}
	}
	return out
}

// explanation returns the reason on file for the whole of a year.
func (j *judge) explanation(year int) (why string, ok bool) {
	for _, d := range j.Decisions {
		if d.What == manifest.Explained && d.View == "" && d.Season == "" && d.Path == "" && covers(d.Years, year) {
			why, ok = d.Why, true
		}
	}
	return why, ok
}

// unexplained takes out of lacks what a person explained.
func (j *judge) unexplained(year int, lacks []lack) (left []lack, why string) {
	if why, ok := j.explanation(year); ok {
		return nil, why
	}
	left = slices.Clone(lacks)
	for _, d := range j.Decisions {
		if d.What != manifest.Explained || d.View == "" && d.Season == "" || !covers(d.Years, year) {
			continue
		}
		before := len(left)
		left = slices.DeleteFunc(left, func(l lack) bool {
			return (d.View == "" || l.means(d.View)) && (d.Season == "" || l.season == "" || d.Season == l.season)
		})
		if len(left) < before {
			why = d.Why
		}
	}
	return left, why
}

// covers reports whether one of years, "2019" or "2019-2021", is the year. No
// years at all cover none.
func covers(years []string, year int) bool {
	for _, y := range years {
		from, to, ranged := strings.Cut(y, "-")
		a, err := strconv.Atoi(strings.TrimSpace(from))
		if err != nil {
			continue
		}
		b := a
		if ranged {
			if b, err = strconv.Atoi(strings.TrimSpace(to)); err != nil {
				continue
			}
		}
		if a <= year && year <= b {
			return true
		}
	}
	return false
}
