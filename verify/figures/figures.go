// Package figures is the one table of the figures that years and findings are judged
// by: how long after its season a visit can still come, how far from its site a photo
// may be taken, and so on. Begin with the table; [Most] is what "most" means. Each is
// marked with where it comes from: a source, common practice in the field (which no
// one source states), or our own choice, which is always on the side of a late alarm.
package figures

// When a visit is due, in days.
const (
	Grace = 90 // after its season, a visit can still come. Our own choice: files come home late.

	// LeastSide is what a season has on each side of its middle, at least. Source: US Forest
	// Service, FSH 1609.21, supplement R2 2409.17-94-1, section 31.12: photographs are repeated
	// "during the same month as the first time", so four weeks together.
	LeastSide = 14
	// Deviations is how many circular standard deviations of the visits' days a season has on
	// each side. Common practice: two take in about nineteen of twenty.
	Deviations = 2
	MostSide   = 150 // a season wider than this on each side is none. Our own choice.

	SameVisit  = 7 // days of one year that lie closer are one visit. Common practice: a round of the stakes takes some days.
	FewestDays = 3 // visit days make a season beside another. Our own choice.
	HabitDays  = 5 // visit days make a season to hold others against. Our own choice.
	LiveYears  = 3 // visited years, in which a season has to occur to go on. Our own choice.

	// AboutNewYear is how far from the new year the middle of a habitual season lies at
	// most whose visits may be of either year. Our own choice: a month.
	AboutNewYear = 31
	YearsAhead   = 51 // how many years ahead the next visit is looked for: one more than the longest cadence a card can declare
)

// Apart are the days without any visit between one season and the next: the first of
// these that puts a year's visits into seasons of their own. Our own choice.
var Apart = []float64{45, 35, 25}

// How often a site is visited. All are our own choice.
const (
	SideGaps     = 4 // gaps between visits are looked at on each side
	HabitRun     = 3 // visits running make a habit
	BaselineGap  = 4 // years lie, at least, between a baseline and what follows
	BaselineFold = 3 // times the cadence, too
)

// What a visit brings home. All are our own choice.
const (
	SideYears     = 4 // visited years are looked at on each side
	FewestHad     = 2 // of them must have had a thing for it to be lacking
	FewestCounted = 4 // of them must have had as many photos for their number to be a habit
)

// Most reports whether so many of all are the most part: three in four. Our own choice.
func Most(n, of int) bool { return 4*n >= 3*of }

// Where and when photos may have been taken.
const (
	// SeasonDays is how far from its season a visit may lie without a word, where the
	// settings do not say. Our own choice: half as much again as a season's least side.
	SeasonDays = 21
	// Meters is how far from its site a photo may be taken, beside the error that it states,
	// where neither card nor settings say. Source for the least of it: Hall, PNW-GTR-526
	// (2002), part A, figure 16: the camera stands up to 10 m from the meter board. The rest is
	// our own choice, for receivers that are off further than they state.
	Meters = 50.0

	DaysAround   = 3  // days from the visit's. Common practice: a visit over two days, a clock in another zone.
	YearAround   = 45 // days from the year a visit is known by: a winter's visit is filed under either. Our own choice.
	VisitsToTell = 3  // visits with positions tell where a site is. Our own choice.
)

// When two sites may be one stake. Both are our own choice.
const (
	FewestEach = 2 // visited years has each, at least
	RowFold    = 2 // times the distance tolerated: a third stake so near makes a row of them
)
