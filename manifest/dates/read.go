package dates

import (
	"strings"

	"linecamp/manifest/names"
)

func (c Calendar) read(name string, file bool) Date {
	if !hasDigits(name) {
		return Date{}
	}
	if !file {
		name = names.Undoubled(name)
	}
	words := names.Split(name)
	var best Date
	used := make([]bool, len(words)) // words that belong to a date
	for i := 0; i < len(words); {
		d, n := c.at(words, i, file)
		for k := i; k < i+n; k++ {
			used[k] = true
		}
		d.First = true
		for k := range i {
			d.First = d.First && (seasons[words[k].Text] != "" || emptyWords[words[k].Text])
		}
		if better(d, best) {
			best = d
		}
		i += max(n, 1)
	}
	if !best.IsTold() || file && best.Day == "" && counter(name) {
		return Date{}
	}
	if best.Season == "" {
		best.Season = seasonBeside(words, used)
	}
	best.Pure = true
	for i, w := range words {
		if !used[i] && seasons[w.Text] == "" && !emptyWords[w.Text] {
			best.Pure = false
		}
	}
	return best
}

func better(a, b Date) bool {
	rank := func(d Date) int {
		switch {
		case d.Day != "":
			return 3
		case d.IsUnsure():
			return 2
		case d.Year != 0:
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
func (c Calendar) at(w []names.Word, i int, file bool) (Date, int) {
	if m := months[w[i].Text]; m != 0 {
		return c.fromMonth(w, i, m)
	}
	if y := c.short(w[i]); y != 0 {
		return c.fromYear(w, i, y, file)
	}
	if !w[i].Digits && !stamp(w[i].Text) {
		return Date{}, 0
	}
	t := w[i].Text
	if len(t) == 8 || len(t) == 14 || !w[i].Digits { // 20190621, 20190621101112, 20190621T101112
		y, m, d := Number(t[:4]), Number(t[4:6]), Number(t[6:8])
		if c.IsYear(y) && IsDay(y, m, d) {
			return Date{Day: Format(y, m, d), Year: y}, 1
		}
		if len(t) == 8 { // 06212019
			return c.numbers(t[:2], t[2:4], t[4:]), 1
		}
		return Date{}, 1
	}
	if len(t) == 6 && len(w) == 1 && !file { // 062119
		return c.numbers(t[:2], t[2:4], t[4:]), 1
	}
	if len(t) <= 2 {
		return c.dayFirst(w, i, file)
	}
	if len(t) != 4 || !c.IsYear(Number(t)) {
		return Date{}, 0
	}
	return c.fromYear(w, i, Number(t), file)
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
func (c Calendar) fromYear(w []names.Word, i, y int, file bool) (Date, int) {
	two := i+2 < len(w) && joined(w[i+1]) && w[i+2].Gap == w[i+1].Gap
	if i+1 < len(w) && joined(w[i+1]) {
		next := w[i+1]
		n := len(next.Text)
		if m := months[next.Text]; m != 0 {
			if two && w[i+2].Digits && len(w[i+2].Text) <= 2 && !(file && next.Gap == " ") {
				if d := Number(w[i+2].Text); IsDay(y, m, d) {
					return Date{Day: Format(y, m, d), Year: y}, 3
				}
			}
			return Date{Year: y, Season: monthNames[m]}, 2
		}
		if next.Digits && n <= 2 && two && w[i+2].Digits && len(w[i+2].Text) <= 2 &&
			(next.Gap != " " || n == 2 && len(w[i+2].Text) == 2) {
			m, d := Number(next.Text), Number(w[i+2].Text)
			if IsDay(y, m, d) {
				return Date{Day: Format(y, m, d), Year: y}, 3
			}
			if next.Gap != " " {
				return Date{}, 3
			}
		}
		if dash := next.Gap == "-" || next.Gap == "–" || next.Gap == " - " || next.Gap == " – "; dash && next.Digits {
			to := Number(next.Text)
			if n == 2 && to == (y+1)%100 && to > 12 {
				to, n = y+1, 4
			}
			if n == 4 && to > y && c.IsYear(to) {
				return Date{Year: y, To: to}, 2
			}
		}
		if next.Digits && n == 2 && next.Gap != " " && !file {
			if m := Number(next.Text); m >= 1 && m <= 12 {
				return Date{Year: y, Season: monthNames[m]}, 2
			}
			return Date{}, 2
		}
	}
	return Date{Year: y}, 1
}

// joined reports whether w follows the word before it as parts of one date do.
func joined(w names.Word) bool {
	switch w.Gap {
	case "-", "_", ".", " ", "–", " - ", " – ":
		return true
	}
	return false
}

// fromMonth reads June 2019, June '19, June 21, 2019 and Jun 21 19. Two digits right
// behind a month are no year: "June 19" is as likely a day.
func (c Calendar) fromMonth(w []names.Word, i, m int) (Date, int) {
	if i+1 < len(w) {
		if y := c.yearIn(w[i+1]); y != 0 {
			return Date{Year: y, Season: monthNames[m]}, 2
		}
	}
	if i+2 < len(w) && w[i+1].Digits && len(w[i+1].Text) <= 2 {
		y := c.yearIn(w[i+2])
		if y == 0 && w[i+2].Digits && len(w[i+2].Text) == 2 && (joined(w[i+2]) || strings.TrimSpace(w[i+2].Gap) == ",") {
			y = c.century(Number(w[i+2].Text))
		}
		if d := Number(w[i+1].Text); y != 0 && IsDay(y, m, d) {
			return Date{Day: Format(y, m, d), Year: y}, 3
		}
	}
	return Date{}, 0
}

// dayFirst reads 21 June 2019, 21-Jun-19 and dates of numbers alone, such as
// 06-21-2019 and 6.21.19.
func (c Calendar) dayFirst(w []names.Word, i int, file bool) (Date, int) {
	if i+2 >= len(w) || !joined(w[i+1]) {
		return Date{}, 0
	}
	a, b, last := w[i], w[i+1], w[i+2]
	if m := months[b.Text]; m != 0 {
		y := c.yearIn(last)
		if y == 0 && last.Digits && len(last.Text) == 2 && last.Gap == b.Gap {
			y = c.century(Number(last.Text))
		}
		if y != 0 && IsDay(y, m, Number(a.Text)) {
			return Date{Day: Format(y, m, Number(a.Text)), Year: y}, 3
		}
		return Date{}, 0
	}
	if !b.Digits || len(b.Text) > 2 || !last.Digits || last.Gap != b.Gap {
		return Date{}, 0
	}
	switch {
	case len(last.Text) == 4 && c.IsYear(Number(last.Text)):
		if b.Gap == " " && (len(w) != 3 || file) {
			return Date{}, 0
		}
		return c.numbers(a.Text, b.Text, last.Text), 3
	case len(last.Text) != 2 || b.Gap == " " && (len(w) != 3 || file || len(a.Text)+len(b.Text) != 4),
		// One of a longer row of numbers is no date.
		i > 0 && w[i-1].Digits && a.Gap == b.Gap, i+3 < len(w) && w[i+3].Digits && w[i+3].Gap == b.Gap:
		return Date{}, 0
	}
	if d := c.numbers(a.Text, b.Text, last.Text); d.IsTold() {
		return d, 3
	}
	return Date{}, 0
}

// Closer reads a folder directly under one that tells a year: "06", "June",
// "06-21", "0621", "Spring". under is what is known so far.
func (c Calendar) Closer(name string, under Date) (Date, bool) {
	if under.Year == 0 || under.To != 0 || under.Day != "" {
		return under, false
	}
	w := names.Split(name)
	if len(w) == 0 {
		return under, false
	}
	m, known := months[under.Season], under.Season != ""
	switch t := w[0].Text; {
	case len(w) == 1 && seasons[t] != "" && !known:
		under.Season = seasons[t]
	case len(w) == 1 && months[t] != 0 && !known:
		under.Season = monthNames[months[t]]
	case w[0].Digits && len(t) == 2 && len(w) == 2 && months[w[1].Text] == Number(t) && Number(t) > 0 && !known: // 06 June
		under.Season = monthNames[Number(t)]
	case m != 0 && w[0].Digits && len(t) == 2 && len(w) == 1 && IsDay(under.Year, m, Number(t)): // 2019/06/21
		under.Day, under.Season = Format(under.Year, m, Number(t)), ""
	case !known && len(w) > 1 && w[0].Digits && w[1].Digits && (len(t) == 2 && len(w[1].Text) == 2 || len(w) == 2 && len(t) <= 2 && len(w[1].Text) <= 2) &&
		!(len(w) > 2 && w[2].Digits && w[2].Gap == w[1].Gap) && // 06-21-19 tells its own year
		(w[1].Gap == "-" || w[1].Gap == "_" || w[1].Gap == ".") && IsDay(under.Year, Number(t), Number(w[1].Text)): // 2019/06-21
		under.Day = Format(under.Year, Number(t), Number(w[1].Text))
	case !known && w[0].Digits && len(t) == 4 && IsDay(under.Year, Number(t[:2]), Number(t[2:])): // 2019/0621
		under.Day = Format(under.Year, Number(t[:2]), Number(t[2:]))
	case !known && w[0].Digits && len(t) == 2 && len(w) == 1 && Number(t) >= 1 && Number(t) <= 12: // 2019/06
		under.Season = monthNames[Number(t)]
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
	in, _ := names.InWord(stem, 8)
	return free && !in
}
