package dates

import (
	"strings"

	"linecamp/manifest/names"
)

// Dates of numbers alone can be read in several ways: 06-07-19 is June 7 where
// Americans write, 6 July elsewhere, and 2006 where the year comes first. A day
// over 12 decides for its own name; for the others see decide.go.
//
// Of two digits, the year is the one among the hundred that end with the next
// year: in 2026, '14 is 2014, 26 is 2026, 27 is 2027 and 28 is 1928. That is our
// own choice, made so that each pair of digits means one year, and none that is
// still far off.

// The orders in which people write a date in numbers.
const (
	monthDayYear = iota
	dayMonthYear
	yearMonthDay
	noOrder
)

// century is the year that two digits mean.
func (c Calendar) century(two int) int {
	y := c.lastYear - c.lastYear%100 + two
	if y > c.lastYear {
		y -= 100
	}
	return y
}

// short reads '19 (or ’19); 0 where the word is none.
func (c Calendar) short(w names.Word) int {
	t, ok := strings.CutPrefix(w.Text, "'")
	if !ok {
		t, ok = strings.CutPrefix(w.Text, "’")
	}
	if !ok || len(t) != 2 || !names.Digits(t) {
		return 0
	}
	return c.century(Number(t))
}

// yearIn reads a word that can only be a year: of four digits, or '19.
func (c Calendar) yearIn(w names.Word) int {
	if w.Digits && len(w.Text) == 4 && c.IsYear(Number(w.Text)) {
		return Number(w.Text)
	}
	return c.short(w)
}

// numbers reads a date of three numbers, the year of two or four digits.
func (c Calendar) numbers(a, b, last string) Date {
	var d Date
	way := func(order, y, month, day int) {
		if c.IsYear(y) && IsDay(y, month, day) {
			d.Maybe[order] = Format(y, month, day)
		}
	}
	y := Number(last)
	if len(last) == 2 {
		y = c.century(y)
		if len(a) == 2 && len(b) == 2 {
			way(yearMonthDay, c.century(Number(a)), Number(b), Number(last))
		}
	}
	way(monthDayYear, y, Number(a), Number(b))
	way(dayMonthYear, y, Number(b), Number(a))
	return d.narrowed()
}

// narrowed fills in what all the ways to read a date agree on.
func (d Date) narrowed() Date {
	d.Day, d.Year = "", 0
	ways := d.Days()
	if len(ways) == 0 {
		return d
	}
	d.Day, d.Year = ways[0], Number(ways[0][:4])
	for _, w := range ways[1:] {
		d.Day = ""
		if Number(w[:4]) != d.Year {
			d.Year = 0
			break
		}
	}
	return d
}

// ways are the days a date may mean, each once.
func (d *Date) Days() (days []string) {
	for i, m := range d.Maybe {
		if m != "" && (i == 0 || m != d.Maybe[0]) && (i < 2 || m != d.Maybe[1]) {
			days = append(days, m)
		}
	}
	return days
}

// unsure reports whether the date can be read in several ways.
func (d *Date) IsUnsure() bool { return d.Day == "" && d.Maybe != [3]string{} }

// only is the order that is the one way to read the date; noOrder where there are
// several, or two that mean the same day.
func (d *Date) only() int {
	order := noOrder
	for o, m := range d.Maybe {
		switch {
		case m == "":
		case order == noOrder:
			order = o
		default:
			return noOrder
		}
	}
	return order
}

// as is the date read in one order, if it can be.
func (d Date) as(order int) Date {
	if order < noOrder && d.Maybe[order] != "" {
		d.Day, d.Year = d.Maybe[order], Number(d.Maybe[order][:4])
	}
	return d
}

// among leaves the ways to read a date that lie within under.
func (d Date) Among(under Date) Date {
	for o, m := range d.Maybe {
		if m != "" && !under.Has(Date{Day: m, Year: Number(m[:4])}) {
			d.Maybe[o] = ""
		}
	}
	return d.narrowed()
}
