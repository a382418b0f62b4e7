package verify

import (
	"math"
	"time"
)

const (
	grace     = 90  // days after the season in which a year is still due
	leastSide = 14  // days on each side of the mean, at least
	mostSide  = 150 // beyond this there is no season
)

// season is the part of the year in which a site is visited. The zero value is
// the whole year.
type season struct {
	known bool
	mean  float64 // fraction of the year, 0 at its beginning
	side  int     // days on each side
}

// seasonOf finds the season in the days of the visits; a visit of unknown day
// does not count.
func seasonOf(items []Item, now time.Time) season {
	days := map[time.Time]bool{}
	for _, it := range items {
		if d, err := time.Parse(time.DateOnly, it.Visit); err == nil && d.Year() <= now.Year() {
			days[d] = true
		}
	}
	if len(days) == 0 {
		return season{}
	}
	fractions := make([]float64, 0, len(days))
	for d := range days {
		fractions = append(fractions, float64(d.YearDay()-1)/float64(daysIn(d.Year())))
	}
	mean, deviation := circular(fractions)
	side := max(leastSide, int(math.Ceil(2*deviation*365.25)))
	if side > mostSide {
		return season{}
	}
	return season{known: true, mean: mean, side: side}
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

// window returns the first and the last day of a year's season, at midnight UTC.
func (s season) window(year int) (opens, closes time.Time) {
	first := time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC)
	if !s.known {
		return first, time.Date(year, 12, 31, 0, 0, 0, 0, time.UTC)
	}
	middle := first.AddDate(0, 0, int(math.Round(s.mean*float64(daysIn(year)))))
	return middle.AddDate(0, 0, -s.side), middle.AddDate(0, 0, s.side)
}

func (s season) days(year int) (opens, closes string) {
	a, b := s.window(year)
	return a.Format(time.DateOnly), b.Format(time.DateOnly)
}

// open reports whether the year's visit can still come: the season is not over,
// or ended within the grace. The last day counts.
func (s season) open(year int, now time.Time) bool {
	_, closes := s.window(year)
	today := time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, time.UTC)
	return !today.After(closes.AddDate(0, 0, grace))
}

// visitedAcrossNewYear reports whether a season that spans the new year has a
// visit that is dated in the neighbouring year.
func (s season) visitedAcrossNewYear(year int, items []Item) bool {
	opens, closes := s.window(year)
	if opens.Year() == closes.Year() {
		return false
	}
	for _, it := range items {
		d, err := time.Parse(time.DateOnly, it.Visit)
		if err == nil && !d.Before(opens) && !d.After(closes) {
			return true
		}
	}
	return false
}

func daysIn(year int) int { return time.Date(year, 12, 31, 0, 0, 0, 0, time.UTC).YearDay() }
