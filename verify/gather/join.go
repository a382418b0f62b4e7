package gather

import (
	"cmp"
	"maps"
	"slices"

	"linecamp/manifest"
	"linecamp/manifest/card"
	"linecamp/verify"
)

// Joining is what a person decided about two objects: that one is the other's
// stake under an earlier name (manifest.Joined), or that they are two
// (manifest.Apart).
type Joining struct {
	Now, Former string // objects; the decision is in the record of Now
	manifest.Decision
}

// Joinings are the decisions about pairs of sites, one for each pair: the newest.
// It is asked before [Input.Join], which makes one site of two.
func (in *Input) Joinings() []Joining {
	pairs := map[[2]string]Joining{}
	for _, s := range in.Sites {
		for _, d := range s.Decisions {
			if s.Object == "" || !verify.IsPairing(d) {
				continue
			}
			k := pairOf(s.Object, d.Path)
			if was, ok := pairs[k]; !ok || !d.When.Before(was.When) {
				pairs[k] = Joining{s.Object, d.Path, d}
			}
		}
	}
	out := slices.Collect(maps.Values(pairs))
	slices.SortFunc(out, func(a, b Joining) int {
		return cmp.Or(a.When.Compare(b.When), cmp.Compare(a.Now, b.Now), cmp.Compare(a.Former, b.Former))
	})
	return out
}

func pairOf(a, b string) [2]string { return [2]string{min(a, b), max(a, b)} }

// Join makes one site of those that a person said are one stake, under the name
// of the present one. Joined sites may have taken over others in turn.
func (in *Input) Join() {
	now := map[string]string{} // of an object that was taken over, the one it is now
	present := func(object string) string {
		for now[object] != "" {
			object = now[object]
		}
		return object
	}
	for _, j := range in.Joinings() {
		to, from := present(j.Now), present(j.Former)
		i, at := in.IndexOf(to), in.IndexOf(from)
		if j.What != manifest.Joined || to == from || i < 0 || at < 0 {
			continue
		}
		in.takeOver(i, at)
		now[from] = to
	}
}

// IndexOf finds the site of an object; -1 where there is none.
func (in *Input) IndexOf(object string) int {
	return slices.IndexFunc(in.Sites, func(s SiteItems) bool { return object != "" && s.Object == object })
}

// takeOver makes the site at a part of site i, and returns where that is then.
// What was declared of the earlier one holds for its time.
func (in *Input) takeOver(i, at int) int {
	s, old := &in.Sites[i], &in.Sites[at]
	s.Card = Continued(old.Card, s.Card, s.Began())
	for _, it := range old.Extra {
		it.Of = cmp.Or(it.Of, old.Object)
		s.Extra = append(s.Extra, it)
	}
	for _, p := range old.packed {
		p.of = cmp.Or(p.of, old.Object)
		s.packed = append(s.packed, p)
	}
	s.Decisions = append(s.Decisions, old.Decisions...)
	s.Formers = append(append(s.Formers, verify.Former{Site: old.Site, Pasture: old.Pasture, Object: old.Object, Position: old.Position}), old.Formers...)
	in.Sites = slices.Delete(in.Sites, at, at+1)
	if at < i {
		i--
	}
	return i
}

// Continued is a site's card with what its former one declares until the year in
// which the present one began. What one of the two does not say, the other says
// for both.
func Continued(former, present card.Card, began string) card.Card {
	year, _ := verify.YearOf(began) // 0 where there was no visit yet: what the present card says holds
	c := present
	c.Closed = slices.Concat(present.Closed, former.Closed)
	if former.FirstYear != 0 || present.FirstYear >= year {
		c.FirstYear = former.FirstYear
	}
	c.Views = nil
	for _, v := range views(former, present) {
		if v.Since < year {
			if v.Until == 0 || v.Until >= year {
				v.Until = year - 1
			}
			c.Views = append(c.Views, v)
		}
	}
	for _, v := range views(present, former) {
		if v.Until == 0 || v.Until >= year {
			v.Since = max(v.Since, year)
			c.Views = append(c.Views, v)
		}
	}
	c.Expect = nil
	for _, e := range expects(former, present) {
		if e.Since < year {
			c.Expect = append(c.Expect, e)
		}
	}
	later := card.Card{Expect: expects(present, former)}
	for _, e := range later.Expected(year) {
		e.Since = year
		c.Expect = append(c.Expect, e)
	}
	for _, e := range later.Expect {
		if e.Since > year {
			c.Expect = append(c.Expect, e)
		}
	}
	return c
}

// views are those that a card declares, or else the other one.
func views(own, other card.Card) []card.View {
	if own.Views == nil {
		return other.Views
	}
	return own.Views
}

// expects is what a card expects, or else the other one; but not the other's
// views where it has its own.
func expects(own, other card.Card) []card.Expect {
	if own.Expect != nil {
		return own.Expect
	}
	all := slices.Clone(other.Expect)
	if own.Views != nil {
		for i := range all {
			all[i].Views = nil
		}
	}
	return all
}

// JoinedSites lists the sites that took over others.
func (in *Input) JoinedSites() (all []verify.JoinedSite) {
	for _, s := range in.Sites {
		if len(s.Formers) > 0 {
			all = append(all, verify.JoinedSite{Site: s.Site, Pasture: s.Pasture, Object: s.Object, From: s.Formers})
		}
	}
	return all
}
