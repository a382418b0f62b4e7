package dates

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
//     the visits of a site (or of the archive) lie within seasonDays of the year, and
//     read with the day first over more than looseDays, the month stands first. Season alone
//     never tells that the day does: visits on the 6th of each month would look so.
//
// Where none of it decides, no day is guessed. The figures are our own choice.
const (
	seasonDays  = 45
	looseDays   = 60
	fewestToAsk = 3 // different days, at least, that tell a season
)

// Orders are the words for an order of month, day and year in the settings.
var Orders = []string{"month first", "day first", "year first"}

// orderOf is the order that the settings name.
func orderOf(s string) int {
	if i := slices.Index(Orders, s); i >= 0 {
		return i
	}
	return noOrder
}

// A Site is whose habit of writing dates counts.
type Site struct{ Pasture, Name string }

// siteDates are what the names of one site say of dates.
type siteDates struct {
	days map[string]bool    // those with one reading
	open map[[3]string]bool // the readings of the others
	only [noOrder]bool      // orders that some name can only be in
}

// Evidence gathers what names and cameras say of dates while folders are read.
type Evidence struct {
	sites map[Site]*siteDates
	taken map[string]*takenDays // by the folder whose name can be read in several ways
	last  *Date                 // the date that was taken down last
}

type takenDays struct {
	of    *siteDates
	maybe Date
	days  map[string]bool // those of the readings on which photos were taken
}

// NewEvidence knows nothing yet.
func NewEvidence() *Evidence {
	return &Evidence{sites: map[Site]*siteDates{}, taken: map[string]*takenDays{}}
}

// See takes down what the names on one file's path say, d, and when its camera says
// that it was taken; "" where it does not. folder is the one whose name d is read
// from; "" where d is read from the file's own name.
func (x *Evidence) See(d *Date, of Site, folder, taken string) {
	if d.Day == "" && !d.IsUnsure() || x.last == d && (d.Day != "" || taken == "") {
		return
	}
	x.last = d
	s := x.sites[of]
	if s == nil {
		s = &siteDates{days: map[string]bool{}, open: map[[3]string]bool{}}
		x.sites[of] = s
	}
	if o := d.only(); o != noOrder {
		s.only[o] = true
	}
	if d.Day != "" {
		s.days[d.Day] = true
		return
	}
	s.open[d.Maybe] = true
	if folder != "" && taken != "" {
		x.camera(s, d, folder, taken)
	}
}

// camera takes down on which of the days that a folder may mean a photo was taken.
func (x *Evidence) camera(of *siteDates, d *Date, folder, taken string) {
	t := x.taken[folder]
	if t == nil {
		t = &takenDays{of, *d, map[string]bool{}}
		x.taken[folder] = t
	}
	day, err := time.Parse(time.DateOnly, taken[:10])
	for _, w := range d.Days() {
		// A clock may stand in another zone.
		if may, _ := time.Parse(time.DateOnly, w); err == nil && may.Sub(day).Abs() <= 24*time.Hour {
			t.days[w] = true
		}
	}
}

// Decided is what the archive decided about its dates.
type Decided struct {
	set   int // the order that the settings say
	all   int // that of the whole archive
	sites map[Site]int
	days  map[string]string // of folders, by their cameras
}

// Decide weighs what was taken down. set is one of [Orders], or "" where the
// settings say no order.
func (x *Evidence) Decide(set string) *Decided {
	r := &Decided{set: orderOf(set), all: noOrder, sites: map[Site]int{}, days: map[string]string{}}
	for path, t := range x.taken {
		if len(t.days) != 1 {
			continue
		}
		for day := range t.days {
			r.days[path] = day
			for o, m := range t.maybe.Maybe {
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
func sharesDay(d Date, order int) bool {
	for o, m := range d.Maybe {
		if o != order && m == d.Maybe[order] {
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
	return asked > 0 && days >= fewestToAsk && within <= seasonDays && other > looseDays
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

// Reading is a date of the site as the archive decided it; folder is the one whose
// name it is, "" for a file's.
func (r *Decided) Reading(d Date, folder string, of Site) Date {
	if r == nil || !d.IsUnsure() {
		return d
	}
	if d = d.as(r.set); d.Day != "" {
		return d
	}
	if day := r.days[folder]; day != "" && folder != "" {
		d.Day, d.Year = day, Number(day[:4])
		return d
	}
	order, own := r.sites[of]
	if !own {
		order = r.all
	}
	return d.as(order)
}
