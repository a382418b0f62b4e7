package intake

import (
	"slices"

	"linecamp/daemon/intake/sky"
	"linecamp/manifest/tally"
)

// The usual two views, where a site's own habit is not known.
var usual = []string{"plot", "landscape"}

// A viewed is a view with what proposed it.
type viewed struct{ view, by string }

// viewsOf proposes a view for each of a visit's pictures, in the order taken.
// habit is what the site's visits usually have, in their usual order.
//
// A word in the name comes first. A plot picture has no sky, so no sky means
// the plot and sky means the site's other view, if it has just one. Pictures
// that this leaves open get the views it leaves open, turn by turn, if there
// are as many of one as of the other. Else nothing is proposed.
func viewsOf(shots []*shot, habit []string) []viewed {
	if len(habit) == 0 {
		habit = usual
	}
	hasPlot := slices.Contains(habit, "plot")
	others := slices.DeleteFunc(slices.Clone(habit), func(v string) bool { return v == "plot" })
	out := make([]viewed, len(shots))
	left := slices.Clone(habit)
	take := func(i int, view, by string) {
		out[i] = viewed{view, by}
		left = slices.DeleteFunc(left, func(v string) bool { return v == view })
	}
	for i, s := range shots {
		if s.View != "" && s.View != tally.Untold {
			take(i, s.View, ByName)
		}
	}
	for i, s := range shots {
		switch {
		case out[i].view != "":
		case s.look == sky.Ground && hasPlot:
			take(i, "plot", ByContent)
		case s.look == sky.Sky && hasPlot && len(others) == 1:
			take(i, others[0], ByContent)
		}
	}
	var open []int
	for i := range shots {
		if out[i].view == "" {
			open = append(open, i)
		}
	}
	if len(open) != len(left) {
		return filled(out)
	}
	for k, i := range open {
		if shots[i].look == sky.Sky && left[k] == "plot" {
			return filled(out) // whoever's turn it is, that is not the plot
		}
	}
	for k, i := range open {
		out[i] = viewed{left[k], ByOrder}
	}
	return filled(out)
}

func filled(out []viewed) []viewed {
	for i := range out {
		if out[i].view == "" {
			out[i].view = tally.Untold
		}
	}
	return out
}
