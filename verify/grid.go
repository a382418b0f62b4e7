package verify

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"
)

// The grid fits a terminal of 80 columns: a site's name, then two columns for
// each year.
const (
	gridName  = 28
	gridYears = 25
)

// marks are the symbols of the grid, in the order of its legend.
var marks = []struct {
	state string
	mark  byte
	says  string
}{
	{Whole, '+', "whole"}, {Due, '?', "due"}, {Short, '-', "short of something"}, {Skipped, 'x', "skipped"},
	{Recoverable, 'r', "recoverable"}, {Lost, 'L', "lost"}, {Explained, 'e', "explained"}, {"", '.', "none expected"},
}

// grid prints sites by years, and under it what the symbols mean. Years before
// the last 25 are left out, and it says so.
func grid(w io.Writer, years []Year) {
	if len(years) == 0 {
		return
	}
	first, last := years[0].Year, years[0].Year
	type row struct {
		label string
		cells map[int]string
	}
	var rows []*row
	at := map[string]*row{}
	for _, y := range years {
		first, last = min(first, y.Year), max(last, y.Year)
		key := y.Pasture + "\x00" + y.Site + "\x00" + y.Object
		if at[key] == nil {
			label := Site{Object: y.Object, Site: Shown(y.Site), Pasture: Shown(y.Pasture)}.Label()
			at[key] = &row{label, map[int]string{}}
			rows = append(rows, at[key])
		}
		at[key].cells[y.Year] = y.State
	}
	from := max(first, last-gridYears+1)
	fmt.Fprintf(w, "\n%s\n", strings.TrimRight(strings.Repeat(" ", gridName)+header(from, last), " "))
	used := map[byte]bool{}
	for _, r := range rows {
		var b strings.Builder
		for n := from; n <= last; n++ {
			m := markOf(r.cells[n])
			used[m] = true
			b.WriteByte(' ')
			b.WriteByte(m)
		}
		fmt.Fprintf(w, "%s%s\n", fitted(r.label, gridName), b.String())
	}
	var legend []string
	for _, m := range marks {
		if used[m.mark] {
			legend = append(legend, fmt.Sprintf("%c %s", m.mark, m.says))
		}
	}
	line := ""
	for _, l := range legend {
		if line != "" && len(line)+3+len(l) > 80 {
			fmt.Fprintln(w, line)
			line = ""
		}
		if line != "" {
			line += "   "
		}
		line += l
	}
	fmt.Fprintln(w, line)
	if first < from {
		fmt.Fprintf(w, "Years before %d are not shown here; --json lists all, from %d.\n", from, first)
	}
}

func markOf(state string) byte {
	i := slices.IndexFunc(marks, func(m struct {
		state string
		mark  byte
		says  string
	}) bool {
		return m.state == state
	})
	return marks[i].mark
}

// header names the first year and every fifth one, where there is room.
func header(from, last int) string {
	line := []byte(strings.Repeat(" ", 2*(last-from+1)+4))
	end := -1
	for n := from; n <= last; n++ {
		col := 2*(n-from) + 1
		if (n == from || n%5 == 0) && col > end && col+4 <= 2*gridYears+2 {
			end = col + copy(line[col:], fmt.Sprint(n))
		}
	}
	return string(line)
}

// fitted is a name in exactly so many columns, with its end kept: what tells
// sites apart stands there.
func fitted(s string, columns int) string {
	n := utf8.RuneCountInString(s)
	if n > columns {
		r := []rune(s)
		return "…" + string(r[n-columns+1:])
	}
	return s + strings.Repeat(" ", columns-n)
}
