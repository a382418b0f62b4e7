package verify

import (
	"fmt"
)

// Alike is two sites that look like one stake under two names, about which
// nobody has decided. It asks, and is no fault.
type Alike struct {
	Now    AlikeSite `json:"now"`    // the one that is visited
	Former AlikeSite `json:"former"` // the one that ended
	Text   string    `json:"text"`   // what makes them look like one

	Distances []float64 `json:"-"` // in meters, as they stand in Text
}

// AlikeSite is one of two sites that look alike.
type AlikeSite struct {
	Site    string `json:"site"`
	Pasture string `json:"pasture"`
	Object  string `json:"object"`
	First   int    `json:"first"` // visited years
	Last    int    `json:"last"`
}

func (s AlikeSite) asked() string {
	return Site{Object: s.Object, Site: s.Site, Pasture: s.Pasture}.Asked()
}

func (s AlikeSite) label() string {
	return fmt.Sprintf("%s (%d-%d)", Site{Object: s.Object, Site: Shown(s.Site), Pasture: Shown(s.Pasture)}.Label(), s.First, s.Last)
}

// alike asks about sites that look like one.
func (p printer) alike(all []Alike) {
	var lines, one, two []string
	for _, a := range all {
		lines = append(lines, fmt.Sprintf("%s and %s: %s", a.Now.label(), a.Former.label(), p.units.Reword(a.Text, a.Distances...)))
		both := []string{a.Now.asked(), a.Former.asked()}
		if a.Now.First <= a.Former.Last {
			both = append(both, "--overlap")
		}
		one = append(one, p.line.Run(append([]string{"same"}, both...)...))
		two = append(two, p.line.Run("same", "--no", a.Now.asked(), a.Former.asked()))
	}
	p.list("Perhaps one stake under two names, which is no fault", lines, p.toRun("If it is one:", one)+"\n"+p.toRun("If they are two:", two))
}
