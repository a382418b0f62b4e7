package intake

import (
	"slices"
	"strings"

	"linecamp/manifest/geo"
)

// A group is the pictures of one visit, as far as it can be told.
type group struct {
	number int // in the plan
	shots  []*shot
	at     spot
	by     string // what told at
	site   *site
	siteBy string
	meters float64 // from the site; -1 if not measured
	date   string
	why    string    // why there is no site, for a person
	far    []float64 // the distances in why
}

// groups lets shots fall into visits. near is how far apart in meters the
// pictures of one visit may be taken.
func groups(shots []*shot, sites []*site, near float64) []*group {
	slices.SortStableFunc(shots, func(a, b *shot) int {
		switch {
		case a.day != b.day:
			return strings.Compare(a.day, b.day)
		case !a.wall.Equal(b.wall):
			return a.wall.Compare(b.wall)
		}
		return strings.Compare(a.Path, b.Path)
	})
	var all []*group
	for _, s := range shots {
		if n := len(all); n > 0 && all[n-1].takes(s, near) {
			all[n-1].add(s)
			continue
		}
		all = append(all, newGroup(s))
	}
	for _, g := range all {
		g.settle(sites, near)
	}
	return joined(all)
}

func newGroup(s *shot) *group {
	g := &group{meters: -1, date: s.day}
	g.add(s)
	return g
}

func (g *group) add(s *shot) {
	g.shots = append(g.shots, s)
	if s.at.known && (!g.at.known || g.by == ByTrack && s.by == ByPosition) {
		g.by = s.by
	}
	var spots []spot
	for _, s := range g.shots {
		if s.by == g.by {
			spots = append(spots, s.at)
		}
	}
	g.at = middle(spots)
}

// takes reports whether s was taken on the same visit as the group's last.
func (g *group) takes(s *shot, near float64) bool {
	last := g.shots[len(g.shots)-1]
	if s.day != last.day {
		return false
	}
	if s.at.known && g.at.known && meters(s.at, g.at) > 2*near+s.at.within+g.at.within {
		return false
	}
	if s.wall.IsZero() || last.wall.IsZero() {
		return s.wall.IsZero() && last.wall.IsZero() // only the day is known
	}
	return s.wall.Sub(last.wall) <= pause
}

// settle finds the group's site by its position.
func (g *group) settle(sites []*site, near float64) {
	if !g.at.known {
		g.why = "no position is in its pictures"
		return
	}
	type hit struct {
		s *site
		m float64
	}
	var hits []hit
	located := 0
	for _, s := range sites {
		if s.at.known {
			located++
			hits = append(hits, hit{s, meters(s.at, g.at)})
		}
	}
	if located == 0 {
		g.why = "no site's position is known yet"
		return
	}
	slices.SortStableFunc(hits, func(a, b hit) int {
		switch {
		case a.m < b.m:
			return -1
		case a.m > b.m:
			return 1
		}
		return 0
	})
	first := hits[0]
	within := func(h hit) bool {
		reach := near
		if h.s.near > 0 {
			reach = h.s.near
		}
		return h.m <= reach+g.at.within
	}
	switch {
	case !within(first):
		g.why, g.far = "the nearest site, "+first.s.label()+", is "+geo.Meters.Distance(first.m)+" away", []float64{first.m}
	case len(hits) > 1 && within(hits[1]) && hits[1].m-first.m < max(g.at.within, near/4):
		g.why = "it lies between " + first.s.label() + " and " + hits[1].s.label()
	default:
		g.site, g.siteBy, g.meters = first.s, g.by, first.m
	}
}

// joined makes one visit of groups at one site on one day.
func joined(all []*group) []*group {
	var out []*group
	for _, g := range all {
		i := slices.IndexFunc(out, func(o *group) bool { return o.site != nil && o.site == g.site && o.date == g.date })
		if i < 0 {
			out = append(out, g)
			continue
		}
		for _, s := range g.shots {
			out[i].add(s)
		}
		out[i].meters = meters(out[i].at, g.site.at)
	}
	return out
}

// inOrder gives groups without a site the sites that were walked at their turn
// in other years. Groups whose site is known stand fast; between two of them,
// or before the first, or after the last, there must be as many groups as
// sites, or nothing is said. The order must have been the same in the last two
// years, where there are two.
func inOrder(all []*group, order [][]*site) {
	if len(order) == 0 || len(order) > 1 && !slices.Equal(order[0], order[1]) {
		return
	}
	turns := order[0]
	lo, turn := 0, 0 // where the stretch looked at begins, in groups and in turns
	settle := func(hi, end int) {
		if hi-lo != end-turn {
			return
		}
		for i := lo; i < hi; i++ {
			g := all[i]
			if g.at.known || g.date == "" || g.shots[0].wall.IsZero() {
				return // it says itself that it is elsewhere, or has no place in the order
			}
		}
		for i := lo; i < hi; i++ {
			all[i].site, all[i].siteBy, all[i].why = turns[turn+i-lo], ByOrder, ""
		}
	}
	for i, g := range all {
		if g.site == nil {
			continue
		}
		at := slices.Index(turns, g.site)
		if at < turn {
			return // walked another way this time, or not a site of the round
		}
		settle(i, at)
		lo, turn = i+1, at+1
	}
	settle(len(all), len(turns))
}
