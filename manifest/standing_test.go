package manifest

import (
	"fmt"
	"maps"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestStanding(t *testing.T) {
	at := func(n int) time.Time { return time.Date(2026, 7, n, 0, 0, 0, 0, time.UTC) }
	said := func(n int, what, view, season, path string, years ...string) Decision {
		return Decision{What: what, When: at(n), View: view, Season: season, Path: path, Years: years}
	}
	for _, c := range []struct {
		name  string
		given []Decision
		want  []string
	}{
		{"nothing undone", []Decision{said(1, Explained, "", "", "", "2013-2015")}, []string{"2013-2015"}},
		{"one year of several", []Decision{said(1, Explained, "", "", "", "2013-2015"), said(2, Withdrawn, "", "", "", "2014")}, []string{"2013 2015"}},
		{"all of them", []Decision{said(1, Explained, "", "", "", "2013", "2015"), said(2, Withdrawn, "", "", "", "2010-2020")}, nil},
		{"said again", []Decision{said(1, Explained, "", "", "", "2013"), said(2, Withdrawn, "", "", "", "2013"), said(3, Explained, "", "", "", "2013")}, []string{"2013"}},
		{"a view, by its year", []Decision{said(1, Explained, "plot", "", "", "2013"), said(2, Withdrawn, "", "", "", "2013")}, nil},
		{"another view", []Decision{said(1, Explained, "plot", "", "", "2013"), said(2, Withdrawn, "note", "", "", "2013")}, []string{"2013"}},
		{"the whole year, by a view", []Decision{said(1, Explained, "", "", "", "2013"), said(2, Withdrawn, "note", "", "", "2013")}, []string{"2013"}},
		{"a season", []Decision{said(1, Explained, "", "06-21", "", "2013"), said(2, Withdrawn, "", "06-21", "", "2013")}, nil},
		{"a file", []Decision{said(1, Explained, "", "", "a.jpg"), said(1, Explained, "", "", "b.jpg"), said(2, Withdrawn, "", "", "a.jpg")}, []string{""}},
		{"a year, not a file", []Decision{said(1, Explained, "", "", "a.jpg"), said(2, Withdrawn, "", "", "", "2013")}, []string{""}},
		{"other decisions", []Decision{said(1, Accepted, "", "", "", "2013"), said(2, Withdrawn, "", "", "", "2013")}, []string{"2013"}},
	} {
		var got []string
		for _, d := range Standing(c.given) {
			years := ""
			for i, y := range d.Years {
				if i > 0 {
					years += " "
				}
				years += y
			}
			got = append(got, years)
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// Whatever is explained and undone in whatever order: the last word on each year
// is what stands.
func TestTheLastWordStands(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var all []Decision
		explained := map[int]bool{}
		for n := range rapid.IntRange(0, 8).Draw(t, "words") {
			from := rapid.IntRange(2010, 2016).Draw(t, "from")
			to := from + rapid.IntRange(0, 3).Draw(t, "more")
			what := rapid.SampledFrom([]string{Explained, Withdrawn}).Draw(t, "what")
			all = append(all, Decision{What: what, When: time.Unix(int64(n), 0), Years: []string{fmt.Sprintf("%d-%d", from, to)}})
			for y := from; y <= to; y++ {
				explained[y] = what == Explained
			}
		}
		stands := map[int]bool{}
		for _, d := range Standing(all) {
			for y := 2000; y < 2030; y++ {
				if overlap(d.Years, []string{fmt.Sprint(y)}) {
					stands[y] = true
				}
			}
		}
		maps.DeleteFunc(explained, func(_ int, yes bool) bool { return !yes })
		if !maps.Equal(stands, explained) {
			t.Fatalf("%v stand, want %v", stands, explained)
		}
	})
}
