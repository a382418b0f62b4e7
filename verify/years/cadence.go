package years

import (
	"slices"

	"linecamp/verify/figures"
)

// expectedGaps returns the years up to last in which a visit was expected and
// none was made, and the late visits with the years they were expected in. rounds
// are the years visited, in order.
func expectedGaps(rounds []int, last int) (out []int, late map[int]int) {
	late = map[int]int{}
	if len(rounds) < 2 {
		return nil, late
	}
	gaps := gapsOf(rounds)
	for i, gap := range gaps {
		c := cadenceAround(gaps, i)
		if c == 0 || gap <= c || running(gaps, i) || (i == 0 && baseline(gaps)) {
			continue
		}
		from, to := rounds[i], rounds[i+1]
		for y := from + c; y < to; y += c {
			if c > 1 && to-y < c {
				late[to] = y
				break // the late visit is this one
			}
			out = append(out, y)
		}
	}
	// After the last visit.
	c := median(gaps[max(0, len(gaps)-figures.SideGaps):])
	if len(gaps) == 1 && gaps[0] >= figures.BaselineGap {
		return out, late // two visits far apart tell no cadence
	}
	for y := rounds[len(rounds)-1] + c; y <= last; y += c {
		out = append(out, y)
	}
	return out, late
}

func gapsOf(rounds []int) []int {
	gaps := make([]int, max(0, len(rounds)-1))
	for i := range gaps {
		gaps[i] = rounds[i+1] - rounds[i]
	}
	return gaps
}

// baseline reports whether the first visit stands alone long before the others.
func baseline(gaps []int) bool {
	if len(gaps) < 2 {
		return false
	}
	c := cadenceAround(gaps, 0)
	return c > 0 && gaps[0] >= figures.BaselineGap && gaps[0] >= figures.BaselineFold*c
}

// running reports whether gap i is one of three that are as long: a habit of
// its own, not a fault of another. At the beginning of the record, where nothing
// came before, the first three visits are one.
func running(gaps []int, i int) bool {
	least := func(part []int) bool { return slices.Min(part) >= gaps[i] }
	for from := max(0, i-figures.HabitRun+1); from <= i && from+figures.HabitRun <= len(gaps); from++ {
		if least(gaps[from : from+figures.HabitRun]) {
			return true
		}
	}
	return i < figures.HabitRun-1 && len(gaps) >= figures.HabitRun-1 && least(gaps[:figures.HabitRun-1])
}

// cadenceAround is the cadence that gap i is held against: the longer of the
// medians before and after it. A side with a single gap speaks only where the
// other is no better. 0 means that nothing can be told.
func cadenceAround(gaps []int, i int) int {
	before := gaps[max(0, i-figures.SideGaps):i]
	after := gaps[i+1 : min(len(gaps), i+1+figures.SideGaps)]
	switch {
	case len(before) >= 2 && len(after) >= 2:
		return max(median(before), median(after))
	case len(before) >= 2:
		return median(before)
	case len(after) >= 2:
		return median(after)
	case len(before) == 1 && len(after) == 1:
		return max(before[0], after[0])
	}
	return 0
}

// median is the middle value, the larger of two in the middle.
func median(v []int) int {
	v = slices.Sorted(slices.Values(v))
	return v[len(v)/2]
}
