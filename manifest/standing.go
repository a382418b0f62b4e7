package manifest

import (
	"slices"
	"strconv"
	"strings"
)

// Standing returns the decisions that hold: an explanation that was taken back
// later is left out, or has fewer years, and what took it back is left out too.
func Standing(all []Decision) []Decision {
	if !slices.ContainsFunc(all, func(d Decision) bool { return d.What == Withdrawn }) {
		return all
	}
	var out []Decision
	for _, d := range all {
		if d.What == Withdrawn {
			continue
		}
		stands := true
		for _, w := range all {
			if stands && w.Withdraws(d) {
				d, stands = d.without(w.Years)
			}
		}
		if stands {
			out = append(out, d)
		}
	}
	return out
}

// Withdraws reports whether w takes back d, or some of its years. One that names
// no season and no view takes back all that was said of its years.
func (w Decision) Withdraws(d Decision) bool {
	if w.What != Withdrawn || d.What != Explained || w.Path != d.Path || d.When.After(w.When) {
		return false
	}
	return w.Path != "" || (w.Season == "" && w.View == "" || w.Season == d.Season && w.View == d.View) && overlap(w.Years, d.Years)
}

// without is a decision about fewer years; ok is false where none is left, or
// where it is about no years but about a file.
func (d Decision) without(years []string) (left Decision, ok bool) {
	left = d
	left.Years = nil
	for _, part := range d.Years {
		from, to := yearSpan(part)
		for y := from; y <= to; y++ {
			if one := strconv.Itoa(y); !overlap([]string{one}, years) {
				left.Years = append(left.Years, one)
			}
		}
	}
	return left, len(left.Years) > 0
}

func overlap(a, b []string) bool {
	for _, x := range a {
		from, to := yearSpan(x)
		for _, y := range b {
			if first, last := yearSpan(y); from <= last && first <= to {
				return true
			}
		}
	}
	return false
}

// yearSpan is the first and the last year of "2014" or "2013-2015"; what is
// neither spans no year.
func yearSpan(part string) (from, to int) {
	a, b, ranged := strings.Cut(part, "-")
	if !ranged {
		b = a
	}
	from, err1 := strconv.Atoi(strings.TrimSpace(a))
	to, err2 := strconv.Atoi(strings.TrimSpace(b))
	if err1 != nil || err2 != nil || to-from > 9999 {
		return 1, 0
	}
	return from, to
}
