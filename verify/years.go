package verify

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"

	"linecamp/manifest"
)

// Where the bytes of an item are.
type Where int

// The places, best first.
const (
	InWorking Where = iota // in the working folder
	OnCopy                 // no longer in the working folder, good on a copy
	Nowhere                // recorded once, and no good bytes known anywhere
)

// Item is one file that a site has, or once had.
type Item struct {
	Path  string // relative to the working folder
	View  string
	Kind  manifest.Kind
	Visit string // "2019-06-21", "2019", or "" for a file of no visit
	Where Where
}

// SiteItems are a site's items, with what people decided about it.
type SiteItems struct {
	Site, Pasture, Object string
	Items                 []Item
	Decisions             []manifest.Decision
}

// YearsInput is what the years are judged by. It is plain data: the same input
// gives the same years.
type YearsInput struct {
	Now   time.Time // in the ranch's own time zone
	Sites []SiteItems
}

// Year is one year of one site.
type Year struct {
	Site    string `json:"site"`
	Pasture string `json:"pasture"`
	Object  string `json:"object"`
	Year    int    `json:"year"`
	State   string `json:"state"`
	// Lacks says what is lacking: views, "note" or "photo" where the year is
	// short or due, paths where it is recoverable or lost.
	Lacks []string `json:"lacks"`
	// Opens and Closes are the days ("2026-06-08") between which the visit of
	// a due year is expected.
	Opens  string `json:"opens,omitempty"`
	Closes string `json:"closes,omitempty"`
	Why    string `json:"why,omitempty"` // the explanation on file
}

// What Year.State can be.
const (
	Whole       = "whole"       // everything expected is there
	Short       = "short"       // something is lacking
	Skipped     = "skipped"     // due, and nothing ever recorded
	Recoverable = "recoverable" // no longer in the working folder; a copy has it
	Lost        = "lost"        // recorded once, no good bytes anywhere
	Due         = "due"         // its season is not over, or ended within the grace
	Explained   = "explained"   // a person put the reason on file
)

// Years judges every year of every site, from the site's first year to this
// one. A year has one state; the graver one wins: lost, recoverable, short,
// skipped, and an explanation takes the place of short and skipped.
//
// A year without any visit is listed only where one was to be expected:
//
//   - The cadence is the median number of years between visits, of up to four
//     gaps before and four after, whichever side is the longer. A gap no longer
//     than that is no gap, so a site visited every second year has no skipped
//     years, and neither has one that changed from yearly to every second year
//     once it did so twice.
//   - Where the cadence is two years or more, a late visit closes the gap.
//   - A lone first visit long before the regular ones is a baseline; the years
//     between are not counted.
//   - A single visit is no habit: the year after it is due while it can be,
//     and never skipped.
//
// A year that was expected and has no visit is due until 90 days after its
// season, then skipped. A visit that lacks something is due with what it lacks
// as long, then short. The season is the circular mean of the site's visit days
// and twice their circular deviation on each side, at least 14 days; the whole
// year where the days are not known or spread over most of it.
//
// A visit lacks a view, a note or its photos only where the site usually has
// one: at least three in four of the (up to) four visited years before and four
// after, at least two of them, and one of them before; or all of at least
// three. So three visits running without a landscape are a new habit and no
// fault. Views are judged by year: what one visit lacks, another of the same
// year may have. A photo whose view nothing tells may be any that is lacking.
//
// The figures (four years, three in four, two deviations, 14 days) are our own
// choice, on the side of a late alarm.
func Years(in YearsInput) []Year {
	var years []Year
	for _, s := range in.Sites {
		years = append(years, yearsOf(s, in.Now)...)
	}
	slices.SortStableFunc(years, func(a, b Year) int {
		return cmp.Or(cmp.Compare(a.Pasture, b.Pasture), cmp.Compare(a.Site, b.Site),
			cmp.Compare(a.Object, b.Object), cmp.Compare(a.Year, b.Year))
	})
	return years
}

// yearsOf judges one site.
func yearsOf(s SiteItems, now time.Time) []Year {
	visited := byYear(s)
	if len(visited) == 0 {
		return nil
	}
	season := seasonOf(s.Items, now)
	// A visit dated after this year is a camera's clock: it is kept and shown,
	// and nothing is judged by it.
	past := visited
	for len(past) > 0 && past[len(past)-1].year > now.Year() {
		past = past[:len(past)-1]
	}
	var out []Year
	for i, v := range visited {
		out = append(out, s.visitedYear(v, past, i, season, now))
	}
	for _, y := range expectedGaps(past, now.Year()) {
		if season.visitedAcrossNewYear(y, s.Items) {
			continue
		}
		out = append(out, s.emptyYear(y, season, now))
	}
	if len(past) == 1 {
		if y := past[0].year + 1; y <= now.Year() && season.open(y, now) {
			out = append(out, s.emptyYear(y, season, now))
		}
	}
	out = append(out, s.explainedOnly(out, visited[0].year, now.Year())...)
	return out
}

func (s *SiteItems) year(y int, state string, lacks []string) Year {
	if lacks == nil {
		lacks = []string{}
	}
	return Year{Site: s.Site, Pasture: s.Pasture, Object: s.Object, Year: y, State: state, Lacks: lacks}
}

// visitedYear judges the year of visited[i].
func (s *SiteItems) visitedYear(v visitYear, past []visitYear, i int, season season, now time.Time) Year {
	if len(v.lost) > 0 {
		return s.year(v.year, Lost, v.lost)
	}
	if len(v.away) > 0 {
		return s.year(v.year, Recoverable, v.away)
	}
	if i >= len(past) {
		return s.year(v.year, Whole, nil)
	}
	lacks := lacking(past, i)
	if len(lacks) == 0 {
		return s.year(v.year, Whole, nil)
	}
	left, why := s.unexplained(v.year, lacks)
	if len(left) == 0 {
		y := s.year(v.year, Explained, lacks)
		y.Why = why
		return y
	}
	if season.open(v.year, now) {
		y := s.year(v.year, Due, left)
		y.Opens, y.Closes = season.days(v.year)
		return y
	}
	return s.year(v.year, Short, left)
}

// emptyYear judges a year that was expected and has nothing.
func (s *SiteItems) emptyYear(n int, season season, now time.Time) Year {
	if why, ok := s.explanation(n); ok {
		y := s.year(n, Explained, nil)
		y.Why = why
		return y
	}
	if season.open(n, now) {
		y := s.year(n, Due, nil)
		y.Opens, y.Closes = season.days(n)
		return y
	}
	return s.year(n, Skipped, nil)
}

// explainedOnly adds the years a person explained that nothing else listed.
func (s *SiteItems) explainedOnly(listed []Year, first, last int) []Year {
	var out []Year
	for n := first; n <= last; n++ {
		if slices.ContainsFunc(listed, func(y Year) bool { return y.Year == n }) {
			continue
		}
		if why, ok := s.explanation(n); ok {
			y := s.year(n, Explained, nil)
			y.Why = why
			out = append(out, y)
		}
	}
	return out
}

// explanation returns the reason on file for the whole of a year.
func (s *SiteItems) explanation(year int) (why string, ok bool) {
	for _, d := range s.Decisions {
		if d.What == manifest.Explained && d.View == "" && d.Path == "" && covers(d.Years, year) {
			why, ok = d.Why, true
		}
	}
	return why, ok
}

// unexplained takes out of lacks what a person explained.
func (s *SiteItems) unexplained(year int, lacks []string) (left []string, why string) {
	if why, ok := s.explanation(year); ok {
		return nil, why
	}
	left = slices.Clone(lacks)
	for _, d := range s.Decisions {
		if d.What != manifest.Explained || d.View == "" || !covers(d.Years, year) {
			continue
		}
		before := len(left)
		left = slices.DeleteFunc(left, func(l string) bool { return l == d.View })
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
