package tally

import "strings"

// Dates of numbers alone can be read in several ways: 06-07-19 is June 7 where
// Americans write, 6 July elsewhere, and 2006 where the year comes first. A day
// over 12 decides for its own name; for the others see dates.go.
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
func (c calendar) century(two int) int {
	y := c.lastYear - c.lastYear%100 + two
	if y > c.lastYear {
		y -= 100
	}
	return y
}

// short reads '19 (or ’19); 0 where the word is none.
func (c calendar) short(w word) int {
	t, ok := strings.CutPrefix(w.text, "'")
	if !ok {
		t, ok = strings.CutPrefix(w.text, "’")
	}
	if !ok || len(t) != 2 || !allDigits(t) {
		return 0
	}
	return c.century(number(t))
}

// yearIn reads a word that can only be a year: of four digits, or '19.
func (c calendar) yearIn(w word) int {
	if w.digits && len(w.text) == 4 && c.validYear(number(w.text)) {
		return number(w.text)
	}
	return c.short(w)
}

// numbers reads a date of three numbers, the year of two or four digits.
func (c calendar) numbers(a, b, last string) dating {
	var d dating
	way := func(order, y, month, day int) {
		if c.validYear(y) && validDay(y, month, day) {
			d.maybe[order] = dayString(y, month, day)
		}
	}
	y := number(last)
	if len(last) == 2 {
		y = c.century(y)
		if len(a) == 2 && len(b) == 2 {
			way(yearMonthDay, c.century(number(a)), number(b), number(last))
		}
	}
	way(monthDayYear, y, number(a), number(b))
	way(dayMonthYear, y, number(b), number(a))
	return d.narrowed()
}

// narrowed fills in what all the ways to read a date agree on.
func (d dating) narrowed() dating {
	d.day, d.year = "", 0
	ways := d.ways()
	if len(ways) == 0 {
		return d
	}
	d.day, d.year = ways[0], number(ways[0][:4])
	for _, w := range ways[1:] {
		d.day = ""
		if number(w[:4]) != d.year {
			d.year = 0
			break
		}
	}
	return d
}

// ways are the days a date may mean, each once.
func (d *dating) ways() (days []string) {
	for i, m := range d.maybe {
		if m != "" && (i == 0 || m != d.maybe[0]) && (i < 2 || m != d.maybe[1]) {
			days = append(days, m)
		}
	}
	return days
}

// unsure reports whether the date can be read in several ways.
func (d *dating) unsure() bool { return d.day == "" && d.maybe != [3]string{} }

// only is the order that is the one way to read the date; noOrder where there are
// several, or two that mean the same day.
func (d *dating) only() int {
	order := noOrder
	for o, m := range d.maybe {
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
func (d dating) as(order int) dating {
	if order < noOrder && d.maybe[order] != "" {
		d.day, d.year = d.maybe[order], number(d.maybe[order][:4])
	}
	return d
}

// among leaves the ways to read a date that lie within under.
func (d dating) among(under dating) dating {
	for o, m := range d.maybe {
		if m != "" && !under.holds(dating{day: m, year: number(m[:4])}) {
			d.maybe[o] = ""
		}
	}
	return d.narrowed()
}
