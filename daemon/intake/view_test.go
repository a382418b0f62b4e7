package intake

import (
	"strings"
	"testing"

	"linecamp/daemon/intake/sky"
	"linecamp/manifest/tally"
)

func TestViewsOf(t *testing.T) {
	pl := []string{"plot", "landscape"}
	for _, c := range []struct {
		looks string // s sky, g ground, u unsure; or a view told by the name
		habit []string
		want  string
	}{
		{"g s", pl, "plot landscape"},
		{"s g", pl, "landscape plot"},
		{"u s", pl, "plot landscape"},
		{"g u", pl, "plot landscape"},
		{"u u", pl, "plot landscape"},
		{"u", pl, "untold"},
		{"u u u", pl, "untold untold untold"},
		{"g g s", pl, "plot plot landscape"},
		{"g s", nil, "plot landscape"},
		{"north s g", []string{"plot", "north", "south"}, "north south plot"},
		{"g s s s s", []string{"plot", "north", "east", "south", "west"}, "plot north east south west"},
		{"s g", []string{"landscape", "plot"}, "landscape plot"},
		{"s s", pl, "landscape landscape"},
	} {
		var shots []*shot
		for _, l := range strings.Fields(c.looks) {
			s := &shot{File: tally.File{View: tally.Untold}, look: map[string]string{"s": sky.Sky, "g": sky.Ground, "u": sky.Unsure}[l]}
			if s.look == "" {
				s.View, s.look = l, sky.Unsure
			}
			shots = append(shots, s)
		}
		var got []string
		for _, v := range viewsOf(shots, c.habit) {
			got = append(got, v.view)
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%s with %v: %v, want %s", c.looks, c.habit, got, c.want)
		}
	}
}
