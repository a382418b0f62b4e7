package tally

import (
	"math"
	"slices"
	"time"
)

// What a date of numbers alone means, the archive decides, in this order:
//
//   - A name with one reading has that: 6-21-19, since no month is the 21st.
//   - The settings, where they say in which order dates are written.
//   - The camera, where the photos of the folder were taken on just one of the days.
//   - The names beside it: where all names of a site that have one reading are in one
//     order, the others are in that order too; where the site has none, those of the
//     archive decide.
//   - The season, where nothing of that tells anything: if read with the month first
//     the visits of a site (or of the archive) lie within season days of the year, and
//     read with the day first over more than loose, the month stands first. Season alone
//     never tells that the day does: visits on the 6th of each month would look so.
//
// Where none of it decides, no day is guessed. The figures are our own choice.
const (
	season      = 45
	loose       = 60
	fewestToAsk = 3 // different days, at least, that tell a season
)

// DateOrders are the words for an order of month, day and year in the settings.
var DateOrders = []string{"month first", "day first", "year first"}

func dateOrder(s string) int {
	if i := slices.Index(DateOrders, s); i >= 0 {
		return i
	}
	return noOrder
}

type siteName struct{ pasture, site string }

// siteDates are what the names of one site say of dates.
type siteDates struct {
	days map[string]bool    // those with one reading
	open map[[3]string]bool // the readings of the others
	only [noOrder]bool      // orders that some name can only be in
}

// dates gathers what names and cameras say of dates while folders are read.
type dates struct {
	sites map[siteName]*siteDates
	taken map[string]*takenDays // by the folder whose name can be read in several ways
	last  *dating               // the date that was taken down last
}

type takenDays struct {
	of    *siteDates
	maybe dating
	days  map[string]bool // those of the readings on which photos were taken
}

func newDates() *dates {
	return &dates{sites: map[siteName]*siteDates{}, taken: map[string]*takenDays{}}
}

// see takes down what one file and the names above it say.
func (x *dates) see(s *sighting) {
	d, at := s.when, s.at
	if d.day == "" && !d.unsure() {
		return
	}
	if x.last != d || d.unsure() && s.Taken != "" {
		k := siteName{at.pasture, at.site}
		of := x.sites[k]
		if of == nil {
			of = &siteDates{days: map[string]bool{}, open: map[[3]string]bool{}}
			x.sites[k] = of
		}
		if o := d.only(); o != noOrder {
			of.only[o] = true
		}
		if d.day != "" {
			of.days[d.day] = true
		} else {
			of.open[d.maybe] = true
			x.camera(of, s)
		}
		x.last = d
	}
}

// camera takes down on which of the days that a folder may mean a photo was taken.
func (x *dates) camera(of *siteDates, s *sighting) {
	if s.at.unsure == "" || s.when != &s.at.when || s.Taken == "" || s.reason != "" {
		return
	}
	t := x.taken[s.at.unsure]
	if t == nil {
		t = &takenDays{of, *s.when, map[string]bool{}}
		x.taken[s.at.unsure] = t
	}
	day, err := time.Parse(time.DateOnly, s.Taken[:10])
	for _, w := range s.when.ways() {
		// A clock may stand in another zone.
		if d, _ := time.Parse(time.DateOnly, w); err == nil && d.Sub(day).Abs() <= 24*time.Hour {
			t.days[w] = true
		}
	}
}

// decided is what the archive decided about its dates.
type decided struct {
	set   int // the order that the settings say
	all   int // that of the whole archive
	sites map[siteName]int
	days  map[string]string // of folders, by their cameras
}

// decide weighs what was taken down. set is the order that the settings say.
func (x *dates) decide(set int) *decided {
	r := &decided{set: set, all: noOrder, sites: map[siteName]int{}, days: map[string]string{}}
	for path, t := range x.taken {
		if len(t.days) != 1 {
			continue
		}
		for day := range t.days {
			r.days[path] = day
			for o, m := range t.maybe.maybe {
				if m == day && !sharesDay(t.maybe, o) {
					t.of.only[o] = true
				}
			}
		}
	}
	told := [noOrder]bool{}
	for k, s := range x.sites {
		for o, only := range s.only {
			told[o] = told[o] || only
		}
		switch s.only {
		case [noOrder]bool{}:
		default:
			r.sites[k] = single(s.only) // noOrder where the site's own names differ
		}
	}
	if r.all = single(told); told != [noOrder]bool{} {
		return r
	}
	all := &siteDates{days: map[string]bool{}, open: map[[3]string]bool{}}
	for _, s := range x.sites {
		if s.monthFirst() {
			r.all = monthDayYear
			return r
		}
		for d := range s.days {
			all.days[d] = true
		}
		for m := range s.open {
			all.open[m] = true
		}
	}
	if all.monthFirst() {
		r.all = monthDayYear
	}
	return r
}

// sharesDay reports whether another order reads the same day.
func sharesDay(d dating, order int) bool {
	for o, m := range d.maybe {
		if o != order && m == d.maybe[order] {
			return true
		}
	}
	return false
}

// single is the one order that is told; noOrder where none or several are.
func single(told [noOrder]bool) int {
	order := noOrder
	for o, t := range told {
		if t && order != noOrder {
			return noOrder
		} else if t {
			order = o
		}
	}
	return order
}

// monthFirst reports whether the site has a season only where months stand first.
func (s *siteDates) monthFirst() bool {
	span := func(order int) (days, asked int, span float64) {
		at := map[string]bool{}
		for d := range s.days {
			at[d[5:]] = true
		}
		for m := range s.open {
			if m[monthDayYear] != "" && m[dayMonthYear] != "" && m[monthDayYear] != m[dayMonthYear] {
				at[m[order][5:]] = true
				asked++
			}
		}
		return len(at), asked, daysSpanned(at)
	}
	days, asked, within := span(monthDayYear)
	_, _, other := span(dayMonthYear)
	return asked > 0 && days >= fewestToAsk && within <= season && other > loose
}

// daysSpanned is the length, in days, of the shortest part of the year that holds
// all the days, each "06-21".
func daysSpanned(at map[string]bool) float64 {
	var days []float64
	for d := range at {
		t, _ := time.Parse(time.DateOnly, "2000-"+d)
		days = append(days, float64(t.YearDay()))
	}
	if len(days) == 0 {
		return 0
	}
	slices.Sort(days)
	gap := days[0] + 366 - days[len(days)-1]
	for i := 1; i < len(days); i++ {
		gap = math.Max(gap, days[i]-days[i-1])
	}
	return 366 - gap
}

// settled is a date of the site as the archive decided it; folder is the one whose
// name it is, "" for a file's.
func (r *decided) settled(d dating, folder string, of siteName) dating {
	if r == nil || !d.unsure() {
		return d
	}
	if d = d.as(r.set); d.day != "" {
		return d
	}
	if day := r.days[folder]; day != "" && folder != "" {
		d.day, d.year = day, number(day[:4])
		return d
	}
	order, own := r.sites[of]
	if !own {
		order = r.all
	}
	return d.as(order)
}
