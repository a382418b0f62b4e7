package text

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"unicode/utf8"

	"linecamp/verify"
)

// The grid fits a terminal of 80 columns: a site's name, then two columns for each
// year. Names get the room that at most 25 years leave; where they are short, more
// years fit.
const (
	gridWide  = 80
	gridYears = 25
	gridGap   = 3 // years running without any state take one column together
)

type symbol struct {
	state string
	mark  byte
	says  string
}

// marks are the symbols of the grid, in the order of its legend.
var marks = []symbol{
	{verify.Whole, '+', "whole"}, {verify.Due, '?', "still to come"}, {verify.Short, '-', "short of something"}, {verify.Skipped, 'x', "skipped"},
	{verify.Recoverable, 'r', "recoverable"}, {verify.Lost, 'L', "lost"}, {verify.Explained, 'e', "explained"}, {"", '.', "none expected"}, {noYears, ':', "years without any visit"},
}

const noYears = "no years"

// grid prints sites by years, and under it what the symbols mean. Where names do not
// fit beside the years, their pastures are headings. Years too early to fit are left
// out, and it says so.
func grid(w io.Writer, years []verify.Year) {
	if len(years) == 0 {
		return
	}
	type row struct {
		label, site, pasture string
		cells                map[int]string
	}
	var rows []*row
	at := map[string]*row{}
	had := map[int]bool{}
	for _, y := range years {
		had[y.Year] = true
		key := y.Pasture + "\x00" + y.Site + "\x00" + y.Object
		if at[key] == nil {
			s := verify.Site{Object: y.Object, Site: shown(y.Site), Pasture: shown(y.Pasture)}
			at[key] = &row{label: s.Label(), site: verify.Site{Object: s.Object, Site: s.Site}.Label(), pasture: s.Pasture, cells: map[int]string{}}
			rows = append(rows, at[key])
		}
		at[key].cells[y.Year] = y.State
	}
	all := YearColumns(had)
	room := gridWide - 2*min(len(all), gridYears)
	longest, grouped := 0, false
	for _, r := range rows {
		longest = max(longest, utf8.RuneCountInString(r.label))
	}
	if longest > room {
		grouped, longest = true, 0
		for _, r := range rows {
			if r.label = r.site; r.pasture != "" {
				r.label = "  " + r.site
			}
			longest = max(longest, utf8.RuneCountInString(r.label))
		}
	}
	name := min(longest, room)
	cols := all[max(0, len(all)-(gridWide-name)/2):]
	if cols[0] == 0 {
		cols = cols[1:]
	}
	fmt.Fprintf(w, "\n%s\n", strings.TrimRight(strings.Repeat(" ", name)+header(cols, gridWide-name), " "))
	used := map[byte]bool{}
	pasture := ""
	for _, r := range rows {
		if grouped && r.pasture != pasture {
			pasture = r.pasture
			fmt.Fprintln(w, strings.TrimRight(fitted(pasture, gridWide), " "))
		}
		var b strings.Builder
		for _, n := range cols {
			m := markOf(r.cells[n])
			if n == 0 {
				m = markOf(noYears)
			}
			used[m] = true
			b.WriteByte(' ')
			b.WriteByte(m)
		}
		fmt.Fprintf(w, "%s%s\n", fitted(r.label, name), b.String())
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
	if len(cols) < len(all) && all[0] != cols[0] {
		fmt.Fprintf(w, "Years before %d are not shown here; --json lists all, from %d.\n", cols[0], all[0])
	}
}

func markOf(state string) byte {
	return marks[slices.IndexFunc(marks, func(m symbol) bool { return m.state == state })].mark
}

// YearColumns are the years from the first to the last that has a state, in order; 0
// stands for more than gridGap years running that have none.
func YearColumns(had map[int]bool) (cols []int) {
	known := slices.Sorted(maps.Keys(had))
	for i, n := range known {
		switch {
		case i > 0 && n-known[i-1] > gridGap:
			cols = append(cols, 0)
		case i > 0:
			for y := known[i-1] + 1; y < n; y++ {
				cols = append(cols, y)
			}
		}
		cols = append(cols, n)
	}
	return cols
}

// header names the first year, every fifth one, and the first after a gap, where
// there is room in so many columns.
func header(cols []int, wide int) string {
	line := []byte(strings.Repeat(" ", wide))
	end := -1
	for i, n := range cols {
		at := 2*i + 1
		if n != 0 && (i == 0 || cols[i-1] == 0 || n%5 == 0) && at > end && at+4 <= wide {
			end = at + copy(line[at:], fmt.Sprint(n))
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
