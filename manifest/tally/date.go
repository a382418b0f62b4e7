package tally

import (
	"fmt"
	"strings"
)

// Years outside these bounds are numbers, not years. Photography is not much
// older than firstYear, which is otherwise arbitrary; a visit is not planned
// further ahead than a folder made for next season.
const firstYear = 1850

// A dating is what a name says about time.
type dating struct {
	day    string // "2019-06-21"
	year   int
	to     int    // the last year of a range that begins with year; else 0
	season string // "spring", "summer", "fall", "winter", or a month's name
	// maybe are the days it may mean where it is written in numbers alone, by the
	// order of month, day and year; "" where that order gives none. Where they
	// differ, day is empty, and year only set where they share it.
	maybe [3]string
	// first: the date begins the name, as in "2019-06-21 north side".
	first bool
	// pure: the name says nothing but the date, its season and empty words
	// such as "photos".
	pure bool
}

// tells reports whether the name dates what lies in it. A range of years
// holds visits of several dates, but still stands where a date does, and so does
// a date that can be read in several ways.
func (d dating) tells() bool { return d.year != 0 || d.unsure() }

var seasons = map[string]string{
	"spring": "spring", "summer": "summer", "fall": "fall", "autumn": "fall", "winter": "winter",
}

var monthNames = [...]string{"", "january", "february", "march", "april", "may", "june", "july",
	"august", "september", "october", "november", "december"}

var months = func() map[string]int {
	m := map[string]int{"sept": 9}
	for i, n := range monthNames {
		if i > 0 {
			m[n], m[n[:3]] = i, i
		}
	}
	return m
}()

// empty words may stand beside a date without making the folder's name say
// more than the date.
var emptyWords = map[string]bool{
	"photo": true, "photos": true, "picture": true, "pictures": true, "pics": true, "image": true, "images": true,
	"visit": true, "visits": true, "monitoring": true, "survey": true, "season": true, "year": true,
	"field": true, "notes": true, "early": true, "mid": true, "late": true, "and": true, "of": true,
}

// A calendar knows which years are possible.
type calendar struct{ lastYear int }

func (c calendar) validYear(y int) bool { return y >= firstYear && y <= c.lastYear }

var daysIn = [...]int{0, 31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}

func validDay(y, m, d int) bool {
	if m < 1 || m > 12 || d < 1 || d > daysIn[m] {
		return false
	}
	leap := y%4 == 0 && (y%100 != 0 || y%400 == 0)
	return m != 2 || d < 29 || leap
}

func dayString(y, m, d int) string { return fmt.Sprintf("%04d-%02d-%02d", y, m, d) }

// number reads up to 8 ASCII digits.
func number(s string) int {
	n := 0
	for i := range len(s) {
		n = n*10 + int(s[i]-'0')
	}
	return n
}

// read finds the date in a folder's name, or with file in a file's stem. The
// first date that is complete to the day wins, then the first year. In a file
// name a month without a day tells its year only: "2019-01" is as likely the
// first picture of 2019.
func (c calendar) read(name string, file bool) dating {
	if !hasDigits(name) {
		return dating{}
	}
	if !file {
		name = undoubled(name)
	}
	words := split(name)
	var best dating
	used := make([]bool, len(words)) // words that belong to a date
	for i := 0; i < len(words); {
		d, n := c.at(words, i, file)
		for k := i; k < i+n; k++ {
			used[k] = true
		}
		d.first = true
		for k := range i {
			d.first = d.first && (seasons[words[k].text] != "" || emptyWords[words[k].text])
		}
		if better(d, best) {
			best = d
		}
		i += max(n, 1)
	}
	if !best.tells() || file && best.day == "" && counter(name) {
		return dating{}
	}
	if best.season == "" {
		best.season = seasonBeside(words, used)
	}
	best.pure = true
	for i, w := range words {
		if !used[i] && seasons[w.text] == "" && !emptyWords[w.text] {
			best.pure = false
		}
	}
	return best
}

func better(a, b dating) bool {
	rank := func(d dating) int {
		switch {
		case d.day != "":
			return 3
		case d.unsure():
			return 2
		case d.year != 0:
			return 1
		}
		return 0
	}
	return rank(a) > rank(b)
}

// hasDigits is a quick no to names that cannot hold a date: three digits, as in
// "Jun 1 19", or two behind an apostrophe are the fewest.
func hasDigits(name string) bool {
	digits := 0
	for i := range len(name) {
		switch c := name[i]; {
		case c >= '0' && c <= '9':
			if digits++; digits >= 3 {
				return true
			}
		case c == '\'' || c == 0xe2: // the first byte of ’
			digits++
		}
	}
	return false
}

// at reads the date that begins at words[i] and returns how many words it
// takes. A date that is written out but impossible, 2019-13-40, takes its
// words and tells nothing.
func (c calendar) at(w []word, i int, file bool) (dating, int) {
	if m := months[w[i].text]; m != 0 {
		return c.fromMonth(w, i, m)
	}
	if y := c.short(w[i]); y != 0 {
		return c.fromYear(w, i, y, file)
	}
	if !w[i].digits && !stamp(w[i].text) {
		return dating{}, 0
	}
	t := w[i].text
	if len(t) == 8 || len(t) == 14 || !w[i].digits { // 20190621, 20190621101112, 20190621T101112
		y, m, d := number(t[:4]), number(t[4:6]), number(t[6:8])
		if c.validYear(y) && validDay(y, m, d) {
			return dating{day: dayString(y, m, d), year: y}, 1
		}
		if len(t) == 8 { // 06212019
			return c.numbers(t[:2], t[2:4], t[4:]), 1
		}
		return dating{}, 1
	}
	if len(t) == 6 && len(w) == 1 && !file { // 062119
		return c.numbers(t[:2], t[2:4], t[4:]), 1
	}
	if len(t) <= 2 {
		return c.dayFirst(w, i, file)
	}
	if len(t) != 4 || !c.validYear(number(t)) {
		return dating{}, 0
	}
	return c.fromYear(w, i, number(t), file)
}

// stamp is the basic form of an ISO 8601 date and time, 20190621t101112.
func stamp(t string) bool {
	if len(t) != 15 || t[8] != 't' {
		return false
	}
	for i := range len(t) {
		if i != 8 && (t[i] < '0' || t[i] > '9') {
			return false
		}
	}
	return true
}

// fromYear reads what follows a year: 2019-06-21, 2019-06, 2019 June 21,
// 2001-2015, 2019-20.
func (c calendar) fromYear(w []word, i, y int, file bool) (dating, int) {
	two := i+2 < len(w) && joined(w[i+1]) && w[i+2].gap == w[i+1].gap
	if i+1 < len(w) && joined(w[i+1]) {
		next := w[i+1]
		n := len(next.text)
		if m := months[next.text]; m != 0 {
			if two && w[i+2].digits && len(w[i+2].text) <= 2 && !(file && next.gap == " ") {
				if d := number(w[i+2].text); validDay(y, m, d) {
					return dating{day: dayString(y, m, d), year: y}, 3
				}
			}
			return dating{year: y, season: monthNames[m]}, 2
		}
		if next.digits && n <= 2 && two && w[i+2].digits && len(w[i+2].text) <= 2 &&
			(next.gap != " " || n == 2 && len(w[i+2].text) == 2) {
			m, d := number(next.text), number(w[i+2].text)
			if validDay(y, m, d) {
				return dating{day: dayString(y, m, d), year: y}, 3
			}
			if next.gap != " " {
				return dating{}, 3
			}
		}
		if dash := next.gap == "-" || next.gap == "–" || next.gap == " - " || next.gap == " – "; dash && next.digits {
			to := number(next.text)
			if n == 2 && to == (y+1)%100 && to > 12 {
				to, n = y+1, 4
			}
			if n == 4 && to > y && c.validYear(to) {
				return dating{year: y, to: to}, 2
			}
		}
		if next.digits && n == 2 && next.gap != " " && !file {
			if m := number(next.text); m >= 1 && m <= 12 {
				return dating{year: y, season: monthNames[m]}, 2
			}
			return dating{}, 2
		}
	}
	return dating{year: y}, 1
}

// joined reports whether w follows the word before it as parts of one date do.
func joined(w word) bool {
	switch w.gap {
	case "-", "_", ".", " ", "–", " - ", " – ":
		return true
	}
	return false
}

// fromMonth reads June 2019, June '19, June 21, 2019 and Jun 21 19. Two digits right
// behind a month are no year: "June 19" is as likely a day.
func (c calendar) fromMonth(w []word, i, m int) (dating, int) {
	if i+1 < len(w) {
		if y := c.yearIn(w[i+1]); y != 0 {
			return dating{year: y, season: monthNames[m]}, 2
		}
	}
	if i+2 < len(w) && w[i+1].digits && len(w[i+1].text) <= 2 {
		y := c.yearIn(w[i+2])
		if y == 0 && w[i+2].digits && len(w[i+2].text) == 2 && (joined(w[i+2]) || strings.TrimSpace(w[i+2].gap) == ",") {
			y = c.century(number(w[i+2].text))
		}
		if d := number(w[i+1].text); y != 0 && validDay(y, m, d) {
			return dating{day: dayString(y, m, d), year: y}, 3
		}
	}
	return dating{}, 0
}

// dayFirst reads 21 June 2019, 21-Jun-19 and dates of numbers alone, such as
// 06-21-2019 and 6.21.19.
func (c calendar) dayFirst(w []word, i int, file bool) (dating, int) {
	if i+2 >= len(w) || !joined(w[i+1]) {
		return dating{}, 0
	}
	a, b, last := w[i], w[i+1], w[i+2]
	if m := months[b.text]; m != 0 {
		y := c.yearIn(last)
		if y == 0 && last.digits && len(last.text) == 2 && last.gap == b.gap {
			y = c.century(number(last.text))
		}
		if y != 0 && validDay(y, m, number(a.text)) {
			return dating{day: dayString(y, m, number(a.text)), year: y}, 3
		}
		return dating{}, 0
	}
	if !b.digits || len(b.text) > 2 || !last.digits || last.gap != b.gap {
		return dating{}, 0
	}
	switch {
	case len(last.text) == 4 && c.validYear(number(last.text)):
		if b.gap == " " && (len(w) != 3 || file) {
			return dating{}, 0
		}
		return c.numbers(a.text, b.text, last.text), 3
	case len(last.text) != 2 || b.gap == " " && (len(w) != 3 || file || len(a.text)+len(b.text) != 4),
		// One of a longer row of numbers is no date.
		i > 0 && w[i-1].digits && a.gap == b.gap, i+3 < len(w) && w[i+3].digits && w[i+3].gap == b.gap:
		return dating{}, 0
	}
	if d := c.numbers(a.text, b.text, last.text); d.tells() {
		return d, 3
	}
	return dating{}, 0
}

// seasonBeside finds a season word directly before or after a date.
func seasonBeside(w []word, used []bool) string {
	for i := range w {
		s := seasons[w[i].text]
		if s == "" {
			continue
		}
		if i > 0 && used[i-1] || i+1 < len(w) && used[i+1] {
			return s
		}
	}
	return ""
}

// below reads a folder directly under one that tells a year: "06", "June",
// "06-21", "0621", "Spring". under is what is known so far.
func (c calendar) below(name string, under dating) (dating, bool) {
	if under.year == 0 || under.to != 0 || under.day != "" {
		return under, false
	}
	w := split(name)
	if len(w) == 0 {
		return under, false
	}
	m, known := months[under.season], under.season != ""
	switch t := w[0].text; {
	case len(w) == 1 && seasons[t] != "" && !known:
		under.season = seasons[t]
	case len(w) == 1 && months[t] != 0 && !known:
		under.season = monthNames[months[t]]
	case w[0].digits && len(t) == 2 && len(w) == 2 && months[w[1].text] == number(t) && number(t) > 0 && !known: // 06 June
		under.season = monthNames[number(t)]
	case m != 0 && w[0].digits && len(t) == 2 && len(w) == 1 && validDay(under.year, m, number(t)): // 2019/06/21
		under.day, under.season = dayString(under.year, m, number(t)), ""
	case !known && len(w) > 1 && w[0].digits && w[1].digits && (len(t) == 2 && len(w[1].text) == 2 || len(w) == 2 && len(t) <= 2 && len(w[1].text) <= 2) &&
		!(len(w) > 2 && w[2].digits && w[2].gap == w[1].gap) && // 06-21-19 tells its own year
		(w[1].gap == "-" || w[1].gap == "_" || w[1].gap == ".") && validDay(under.year, number(t), number(w[1].text)): // 2019/06-21
		under.day = dayString(under.year, number(t), number(w[1].text))
	case !known && w[0].digits && len(t) == 4 && validDay(under.year, number(t[:2]), number(t[2:])): // 2019/0621
		under.day = dayString(under.year, number(t[:2]), number(t[2:]))
	case !known && w[0].digits && len(t) == 2 && len(w) == 1 && number(t) >= 1 && number(t) <= 12: // 2019/06
		under.season = monthNames[number(t)]
	default:
		return under, false
	}
	return under, true
}

// counter reports whether a stem begins with a camera's file name: four free
// characters and a four-digit counter (DCF, CIPA DC-009), as IMG_2019 or
// "DSC_2019 north". Such a counter is no year. A month's name before it is not
// a camera's: "Jun_2019".
func counter(stem string) bool {
	if len(stem) < 8 || months[strings.ToLower(stem[:3])] != 0 && stem[3] == '_' {
		return false
	}
	free := false
	for i := range 8 {
		c := stem[i]
		digit := c >= '0' && c <= '9'
		letter := c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || c == '_'
		if i < 4 && !digit && !letter || i >= 4 && !digit {
			return false
		}
		free = free || letter
	}
	if len(stem) == 8 {
		return free
	}
	in, _ := inWord(stem, 8)
	return free && !in
}
