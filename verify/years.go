package verify

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/card"
	"linecamp/manifest/dates"
	"linecamp/manifest/geo"
	"linecamp/manifest/tally"
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
	// Of is the object it is filed under, where that is another than its site's:
	// one that the site took over.
	Of string
	// File is what the tally read of a file in the working folder; nil for one
	// that is not there.
	File *tally.File
	// Shared: a note that serves several sites from a folder above them.
	Shared bool
}

// SiteItems are a site's items, with what people decided about it.
type SiteItems struct {
	Site, Pasture, Object string
	Items                 []Item
	Decisions             []manifest.Decision
	Card                  card.Card     // what is declared about the site
	Position              *geo.Position // where it is declared to be; nil where it is not
	Formers               []Former      // sites that it took over; its items say which are of them
}

// YearsInput is what the years are judged by. It is plain data: the same input
// gives the same years.
type YearsInput struct {
	Now       time.Time // in the ranch's own time zone
	Sites     []SiteItems
	Tolerance Tolerance
	Units     geo.Units // what drafts of cards tell distances in
	// Unfiled are the files of no site, which are judged by themselves only: photos
	// that lie anywhere, and notes in a pasture's or a year's folder.
	Unfiled SiteItems
	// Doubles are folders that hold again what the one beside them has.
	Doubles []tally.Double
	// Undecodable are the contents that a full decode found at fault, and how.
	Undecodable map[manifest.Digest]string
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
	// Over: the season of a due year has closed, and its grace has not.
	Over bool   `json:"season_over,omitempty"`
	Why  string `json:"why,omitempty"` // the explanation on file, or why the site was closed
	// Closed: the explanation is that the site's card says it was closed.
	Closed bool `json:"closed,omitempty"`
	// Late is the year in which the visit of this one was expected.
	Late int `json:"late,omitempty"`
	// Undated are folders whose photos may be what the year lacks; it is neither
	// short nor skipped while nobody says of which day they are, and is called due.
	Undated []string `json:"undated,omitempty"`
	// Baseline: a lone visit long before the regular ones.
	Baseline bool `json:"baseline,omitempty"`
	// From are the objects that have the files of a recoverable year, where they
	// are not all the site's own.
	From []string `json:"from,omitempty"`
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
// of four neighbours, at least four of them, and in none of them less.
//
// What a site's card declares takes the place of what its history tells: when
// visits are due, which views they bring home, whether a note. A year in which
// the site was closed is explained by that. Nothing is expected of a site before
// its first year, after it was retired, or once another has replaced it.
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

// judge is one site while its years are judged.
type judge struct {
	*SiteItems
	now     time.Time
	visited []visitYear
	past    []visitYear // without years to come
	rounds  []int       // the years whose visit was made: a season over the new year is of one of them
	times   *timetable
	shares  map[int][]share        // by year, of the years that have several seasons
	series  map[string][]visitYear // the visits of each such season, without years to come
	doubts  []dates.Doubt          // photos that may be of a visit, of one year or another
	anyway  []int                  // years expected and not visited, were they of all the years they may be of
}

func newJudge(s *SiteItems, now time.Time) *judge {
	j := &judge{SiteItems: s, now: now, visited: byYear(*s)}
	// A visit dated after this year is a camera's clock: it is kept and shown,
	// and nothing is judged by it.
	j.past = j.visited
	for len(j.past) > 0 && j.past[len(j.past)-1].year > now.Year() {
		j.past = j.past[:len(j.past)-1]
	}
	j.times = newTimetable(s, j.past, now)
	j.rounds = j.times.rounds(numbers(j.past), s.Items, now)
	j.markSeasons()
	j.findDoubts()
	return j
}

// yearsOf judges one site.
func yearsOf(s SiteItems, now time.Time) []Year {
	j := newJudge(&s, now)
	expected, late := j.expected(now.Year())
	if len(j.visited)+len(expected) == 0 {
		return nil
	}
	lone := baseline(gapsOf(j.rounds))
	var out []Year
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
		if !j.times.visitedAcrossNewYear(y, s.Items) {
			out = append(out, j.emptyYear(y))
			first = min(first, y)
		}
	}
	return append(out, j.explainedOnly(out, first, now.Year())...)
}

func (s *SiteItems) year(y int, state string, lacks []string) Year {
	if lacks == nil {
		lacks = []string{}
	}
	return Year{Site: s.Site, Pasture: s.Pasture, Object: s.Object, Year: y, State: state, Lacks: lacks}
}

// visitedYear judges the year of visited[i].
func (j *judge) visitedYear(v visitYear, i int) Year {
	if len(v.lost) > 0 {
		return j.year(v.year, Lost, v.lost)
	}
	if len(v.away) > 0 {
		y := j.year(v.year, Recoverable, v.away)
		y.From = j.objectsOf(v.away)
		return y
	}
	if i >= len(j.past) {
		return j.year(v.year, Whole, nil)
	}
	lacks := j.lacks(i)
	if len(lacks) == 0 {
		return j.year(v.year, Whole, nil)
	}
	left, why := j.unexplained(v.year, lacks)
	if len(left) == 0 {
		y := j.year(v.year, Explained, j.named(v.year, lacks))
		y.Why = why
		return y
	}
	if in := j.mayBeOf(v.year); in != nil {
		y := j.year(v.year, Due, nil)
		y.Undated = in
		return y
	}
	if j.times.open(v.year, j.now) {
		y := j.year(v.year, Due, j.named(v.year, left))
		y.within(j.times.next(v.year, j.now), j.now)
		return y
	}
	return j.year(v.year, Short, j.named(v.year, left))
}

// within gives a due year its season.
func (y *Year) within(w window, now time.Time) {
	y.Opens, y.Closes = w.days()
	y.Over = today(now).After(w.closes)
}

// emptyYear judges a year that was expected and has nothing.
func (j *judge) emptyYear(n int) Year {
	why, ok := j.explanation(n)
	closed := false
	if !ok {
		why, closed = j.closedIn(n)
	}
	if ok || closed {
		y := j.year(n, Explained, nil)
		y.Why, y.Closed = why, closed
		return y
	}
	if in := j.mayExplain(n); in != nil {
		y := j.year(n, Due, nil)
		y.Undated = in
		return y
	}
	if j.times.open(n, j.now) {
		y := j.year(n, Due, nil)
		y.within(j.times.next(n, j.now), j.now)
		return y
	}
	return j.year(n, Skipped, nil)
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
		if d.What == manifest.Explained && d.View == "" && d.Season == "" && d.Path == "" && covers(d.Years, year) {
			why, ok = d.Why, true
		}
	}
	return why, ok
}

// unexplained takes out of lacks what a person explained.
func (s *SiteItems) unexplained(year int, lacks []lack) (left []lack, why string) {
	if why, ok := s.explanation(year); ok {
		return nil, why
	}
	left = slices.Clone(lacks)
	for _, d := range s.Decisions {
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
