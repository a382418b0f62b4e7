// Package dates reads days and years from the names of folders and files.
//
// Begin with [Until], which makes a [Calendar], and ask it with
// [Calendar.Folder] or [Calendar.File] what one name says: a [Date]. A name that
// is written in numbers alone, such as 06-07-19, may mean several days. Which of
// them, one name cannot tell: [Evidence] gathers what all names and cameras of an
// archive say, and [Evidence.Decide] decides. What stays open is asked, and never
// guessed; [InDoubt] finds the name to ask about.
package dates

import (
	"fmt"
	"time"
)

// FirstYear is the first number that can be a year. Photography is not much older;
// otherwise it is our own choice. The last is the year of a folder made for next season.
const FirstYear = 1850

// A Date is what a name says about time.
type Date struct {
	Day    string // "2019-06-21"
	Year   int
	To     int    // the last year of a range that begins with Year; else 0
	Season string // "spring", "summer", "fall", "winter", or a month's name
	// Maybe are the days it may mean where it is written in numbers alone, by the
	// order of month, day and year; "" where that order gives none. Where they
	// differ, Day is empty, and Year only set where they share it.
	Maybe [3]string
	// First: the date begins the name, as in "2019-06-21 north side".
	First bool
	// Pure: the name says nothing but the date, its season and empty words
	// such as "photos".
	Pure bool
}

// IsTold reports whether the name dates what lies in it. A range of years
// holds visits of several dates, but still stands where a date does, and so does
// a date that can be read in several ways.
func (d Date) IsTold() bool { return d.Year != 0 || d.IsUnsure() }

// Has reports whether a date lies within d.
func (d Date) Has(o Date) bool {
	if d.IsUnsure() {
		for _, w := range d.Days() {
			if w == o.Day || o.Day == "" && o.To == 0 && o.Year != 0 && Number(w[:4]) == o.Year {
				return true
			}
		}
		return false
	}
	if d.To != 0 {
		return o.To == 0 && o.Year >= d.Year && o.Year <= d.To
	}
	if o.Year != d.Year || o.To != 0 {
		return false
	}
	if m := Month(d.Season); m != 0 && o.Day != "" {
		return Number(o.Day[5:7]) == m
	}
	return true
}

// A Calendar knows which years are possible.
type Calendar struct{ lastYear int }

// Until is the calendar of a day: no year is further ahead than the next.
func Until(now time.Time) Calendar { return Calendar{now.Year() + 1} }

// IsYear reports whether a number can be a year.
func (c Calendar) IsYear(y int) bool { return y >= FirstYear && y <= c.lastYear }

// IsDay reports whether the calendar has that day.
func IsDay(y, m, d int) bool {
	t := time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC)
	return t.Year() == y && t.Month() == time.Month(m) && t.Day() == d
}

// Format writes a day as a Date has it.
func Format(y, m, d int) string { return fmt.Sprintf("%04d-%02d-%02d", y, m, d) }

// Number reads ASCII digits.
func Number(s string) int {
	n := 0
	for i := range len(s) {
		n = n*10 + int(s[i]-'0')
	}
	return n
}

// Folder finds the date in a folder's name. The first date that is complete to
// the day wins, then the first year.
func (c Calendar) Folder(name string) Date { return c.read(name, false) }

// File finds the date in a file's stem. Here a month without a day tells its year
// only: "2019-01" is as likely the first picture of 2019.
func (c Calendar) File(stem string) Date { return c.read(stem, true) }
