package verify

import "slices"

const (
	sideGaps     = 4 // gaps looked at on each side
	baselineGap  = 4 // years, at least, between a baseline and what follows
	baselineFold = 3 // and this many times the cadence
)

// expectedGaps returns the years up to last in which a visit was expected and
// none was made, and the late visits with the years they were expected in.
func expectedGaps(visited []visitYear, last int) (out []int, late map[int]int) {
	late = map[int]int{}
	if len(visited) < 2 {
		return nil, late
	}
	gaps := gapsOf(visited)
	for i, gap := range gaps {
		c := cadenceAround(gaps, i)
		if c == 0 || gap <= c || (i == 0 && baseline(gaps)) {
			continue
		}
		from, to := visited[i].year, visited[i+1].year
		for y := from + c; y < to; y += c {
			if c > 1 && to-y < c {
				late[to] = y
				break // the late visit is this one
			}
			out = append(out, y)
		}
	}
	// After the last visit.
	c := median(gaps[max(0, len(gaps)-sideGaps):])
	if len(gaps) == 1 && gaps[0] >= baselineGap {
		return out, late // two visits far apart tell no cadence
	}
	for y := visited[len(visited)-1].year + c; y <= last; y += c {
		out = append(out, y)
	}
	return out, late
}

func gapsOf(visited []visitYear) []int {
	gaps := make([]int, max(0, len(visited)-1))
	for i := range gaps {
		gaps[i] = visited[i+1].year - visited[i].year
	}
	return gaps
}

// baseline reports whether the first visit stands alone long before the others.
func baseline(gaps []int) bool {
	if len(gaps) < 2 {
		return false
	}
	c := cadenceAround(gaps, 0)
	return c > 0 && gaps[0] >= baselineGap && gaps[0] >= baselineFold*c
}

// cadenceAround is the cadence that gap i is held against: the longer of the
// medians before and after it. A side with a single gap speaks only where the
// other is no better. 0 means that nothing can be told.
func cadenceAround(gaps []int, i int) int {
	before := gaps[max(0, i-sideGaps):i]
	after := gaps[i+1 : min(len(gaps), i+1+sideGaps)]
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
