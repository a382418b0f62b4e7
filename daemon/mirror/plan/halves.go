package plan

import (
	"slices"

	"linecamp/daemon/mirror/sites"
	"linecamp/manifest"
	"linecamp/manifest/walk"
	"linecamp/manifest/within"
)

// halves is what is to be known about renames of which only one half is seen.
type halves struct {
	went     map[*change][]string // the names that went, before any was held back
	unlisted []string             // folders that could not be listed
	there    map[string]bool      // raw paths of files that were seen and not read
	sizes    map[int64]bool       // of those of them that have names of which nothing is on record
	passes   []walk.Waiting       // of these, what is over by itself soon
}

func (p *planner) newHalves() *halves {
	h := &halves{went: map[*change][]string{}, there: map[string]bool{}, sizes: map[int64]bool{}}
	if !p.r.Accepted {
		h.unlisted = p.r.Tally.Unlisted
	}
	for _, c := range p.changes {
		h.went[c] = slices.Clone(c.Gone)
	}
	for _, w := range p.r.Tally.Waiting {
		if slices.Contains(p.r.Tally.Unlisted, w.Path) {
			continue
		}
		h.there[w.Path] = !w.Vanished()
		if _, recorded := p.left[w.Path]; recorded || p.r.Accepted && !w.Passes() {
			continue
		}
		h.sizes[w.Size] = true
		if w.Passes() {
			h.passes = append(h.passes, w)
		}
	}
	return h
}

// keepHalves keeps the two halves of a rename together. A move is a pair within
// one version step (see manifest.Moves), so that a name which went in one version
// and came in another would be two files for ever, and be brought back as two. A
// half waits until the other can be seen: a name that went, as long as a file
// which may be it cannot be read; a name that came, as long as nobody can see
// whether the one that has its bytes on record is still there. No bytes wait for
// that, they are on record under the old name.
//
// What waits in one site may hold back another one's, so this goes on until
// nothing is added. Where a person accepts the changes, only what is over soon is
// waited for.
func (p *planner) keepHalves() {
	p.keepEntries()
	for p.holdGone() || p.holdCame() {
		p.keepEntries()
	}
}

// holdGone lets names that went wait where what they are called now may not have
// been read. It tells whether there were any.
func (p *planner) holdGone() bool {
	if len(p.halves.sizes) == 0 && len(p.halves.unlisted) == 0 {
		return false
	}
	came := map[manifest.Digest]int{} // paths that were not there before, by their bytes
	for _, c := range p.changes {
		c.Group.Load()
		for _, logical := range slices.Concat(c.Known, c.fresh.list()) {
			if c.Old == nil || !hasKey(c.Old.Inv.State(c.Old.Head()), logical) {
				came[c.Group.Files[logical].SHA256]++
			}
		}
		c.Group.Release()
	}
	held := false
	for _, c := range p.changes {
		if c.Old == nil {
			continue
		}
		state := c.Old.Inv.State(c.Old.Head())
		c.Gone = slices.DeleteFunc(c.Gone, func(logical string) bool {
			if d := state[logical]; came[d] > 0 {
				came[d]--
				return false
			}
			e := c.Old.Rec.Paths[logical]
			if !p.maybeMoved(c.Group, e) {
				return false
			}
			p.r.Wait(manifest.RawPath(c.Old.Rec.Base, logical, e), ReasonMoving, false)
			held = true
			return true
		})
	}
	p.changes = slices.DeleteFunc(p.changes, (*change).empty)
	return held
}

// maybeMoved reports whether a file that went may stand where it could not be
// read: in a folder of its site that was not listed, or as a file of its size. One
// of its site that is still being written may yet grow to that.
func (p *planner) maybeMoved(g *sites.Group, e manifest.Entry) bool {
	own := func(path string) bool { return within.Below(path, g.Base) }
	return p.halves.sizes[e.Bytes] || slices.ContainsFunc(p.halves.unlisted, own) ||
		slices.ContainsFunc(p.halves.passes, func(w walk.Waiting) bool { return w.Size < e.Bytes && own(w.Path) })
}

// holdCame lets names that came wait where the same site has their bytes on record
// under a name that is not seen, and does not go in this round. Of several, those
// wait that find no partner. It tells whether there were any.
func (p *planner) holdCame() bool {
	if p.r.Accepted {
		return false
	}
	held := false
	for _, c := range p.changes {
		if c.Old == nil || len(c.Known) == 0 {
			continue
		}
		c.Group.Load()
		held = p.holdCameOf(c) || held
		c.Group.Release()
	}
	p.changes = slices.DeleteFunc(p.changes, (*change).empty)
	return held
}

func (p *planner) holdCameOf(c *change) bool {
	state := c.Old.Inv.State(c.Old.Head())
	goes, doubtful := map[string]bool{}, map[string]bool{}
	went, stays := map[manifest.Digest]int{}, map[manifest.Digest]int{}
	for _, logical := range c.Gone {
		goes[logical] = true
		went[state[logical]]++
	}
	for _, logical := range p.halves.went[c] {
		doubtful[logical] = !goes[logical]
	}
	for logical, d := range state {
		if _, shown := c.Group.Files[logical]; shown || goes[logical] || manifest.Reserved(logical) {
			continue
		}
		raw := manifest.RawPath(c.Group.Base, logical, c.Old.Rec.Paths[logical])
		if doubtful[logical] || p.uncertain.holds(raw) && !p.halves.there[raw] {
			stays[d]++
		}
	}
	held := false
	c.Known = slices.DeleteFunc(c.Known, func(logical string) bool {
		if hasKey(state, logical) {
			return false // that name did not come, its bytes changed
		}
		f := c.Group.Files[logical]
		switch {
		case went[f.SHA256] > 0:
			went[f.SHA256]--
			return false
		case stays[f.SHA256] == 0:
			return false
		}
		stays[f.SHA256]--
		p.withheld.add(f)
		p.r.Wait(f.Path, ReasonMoved, false)
		held = true
		return true
	})
	return held
}
