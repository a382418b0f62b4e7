package layout

import (
	"sort"
	"strings"

	"linecamp/manifest/dates"
	"linecamp/manifest/names"
)

// Untold is the view of a photo whose name and folders tell none.
const Untold = "untold"

// The usual words for the two pictures of a visit, and the points of the
// compass for sites photographed all round (common practice, no source).
var usualViews = map[string][]string{
	"plot":      {"plot", "ground", "close-up", "closeup"},
	"landscape": {"landscape", "horizon"},
}

var compass = map[string][]string{
	"north": {"n", "north"}, "northeast": {"ne", "northeast", "north-east"},
	"east": {"e", "east"}, "southeast": {"se", "southeast", "south-east"},
	"south": {"s", "south"}, "southwest": {"sw", "southwest", "south-west"},
	"west": {"w", "west"}, "northwest": {"nw", "northwest", "north-west"},
}

// A phrase is one way to name a view: one or more words in a row.
type phrase struct {
	words []string
	view  string
}

// viewer finds views in names. Names a site or an archive declares come
// before plot and landscape, and those before the compass: in "plot north"
// the point only says where the photographer looked from. Within one rank the
// longer phrase wins ("north-east" is not north), then the earlier one.
type viewer struct{ ranks [3][]phrase }

func newViewer(own map[string][]string) viewer {
	var v viewer
	add := func(rank int, view string, called []string) {
		for _, n := range called {
			p := phrase{view: view}
			for _, w := range names.Split(n) {
				p.words = append(p.words, w.Text)
			}
			if len(p.words) > 0 {
				v.ranks[rank] = append(v.ranks[rank], p)
			}
		}
	}
	for view, called := range own {
		add(0, view, append([]string{view}, called...))
	}
	for view, called := range usualViews {
		add(1, view, called)
	}
	for view, called := range compass {
		add(2, view, called)
	}
	for _, r := range v.ranks {
		sort.Slice(r, func(i, j int) bool {
			if len(r[i].words) != len(r[j].words) {
				return len(r[i].words) > len(r[j].words)
			}
			a, b := strings.Join(r[i].words, " "), strings.Join(r[j].words, " ")
			if a != b {
				return a < b
			}
			return r[i].view < r[j].view
		})
	}
	return v
}

// find returns the view that words name, "" if none.
func (v *viewer) find(words []names.Word) string {
	for _, rank := range v.ranks {
		best, at, n := "", len(words), 0
		for i := range words {
			for k := range rank {
				p := &rank[k]
				if len(p.words) < n || !runs(words, i, p.words) {
					continue
				}
				if len(p.words) > n || i < at {
					best, at, n = p.view, i, len(p.words)
				}
			}
		}
		if best != "" {
			return best
		}
	}
	return ""
}

// folder returns the view a folder is for. A folder is a view's only if its
// whole name is: "plot", "plot photos", not "plot fence repair".
func (v *viewer) folder(name string) (view string, point bool) {
	words := dates.WithoutEmpty(names.Split(name))
	for r, rank := range v.ranks {
		for _, p := range rank {
			if len(p.words) == len(words) && runs(words, 0, p.words) {
				return p.view, r == 2
			}
		}
	}
	return "", false
}

// runs reports whether p stands at words[i:].
func runs(words []names.Word, i int, p []string) bool {
	if i+len(p) > len(words) {
		return false
	}
	for k, w := range p {
		if words[i+k].Text != w {
			return false
		}
	}
	return true
}

// without takes the first run of part out of words. A site's own name in a
// file name ("North Stake 1.jpg" at North Stake) names no view.
func without(words []names.Word, part []string) ([]names.Word, bool) {
	if len(part) == 0 {
		return words, false
	}
	for i := range words {
		if runs(words, i, part) {
			return append(append([]names.Word(nil), words[:i]...), words[i+len(part):]...), true
		}
	}
	return words, false
}
