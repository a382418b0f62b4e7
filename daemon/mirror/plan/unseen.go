package plan

import (
	"slices"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/names"
)

// leaveUnseen takes out of the changes what the working folder never had: such a
// path did not leave it, and an older version of its bytes is no edit. Where the
// folder has another file under that name, both go on: the folder's keeps the name. It
// is an edit where this computer recorded the bytes from its folder, and only its state
// forgot that.
func (p *planner) leaveUnseen() {
	if !p.never.Any() {
		return
	}
	p.dropMoved()
	for _, c := range p.changes {
		if c.Old == nil {
			continue
		}
		never := p.never.Never(c.Slug)
		if len(never) == 0 {
			continue
		}
		// They stay in p.left: a file that stands there now, and counts for another
		// site, is judged by what is recorded of them.
		c.Gone = slices.DeleteFunc(c.Gone, func(logical string) bool { return hasKey(never, logical) })
		c.Group.Load()
		p.holdPaths(c, ReasonNewer, slices.DeleteFunc(slices.Clone(c.Altered), func(logical string) bool {
			switch {
			case !hasKey(never, logical):
				return true
			case c.had(logical, c.Group.Files[logical].SHA256): // an older version
				return p.isOnRecord(c, logical) && p.goesBeside(c, logical)
			}
			return p.recordedHere(c.Old.Inv, logical) || p.goesBeside(c, logical)
		}))
		c.Group.Release()
	}
	p.changes = slices.DeleteFunc(p.changes, (*change).empty)
}

// isOnRecord reports whether another site has the folder's bytes on record at the very
// place where they stand. Then a restore brings them, and not what this site has there.
func (p *planner) isOnRecord(c *change, logical string) bool {
	f := c.Group.Files[logical]
	was, ok := p.left[f.Path]
	return ok && was.c != c && was.digest == f.SHA256
}

// recordedHere reports whether this computer, by its id or else its name, recorded what
// stands at a path from its folder. A version that keeps bytes beside the files brought
// some of another history.
func (p *planner) recordedHere(inv *manifest.Inventory, logical string) bool {
	n := inv.Head()
	for d := inv.State(n)[logical]; n > 1 && inv.State(n - 1)[logical] == d; {
		n--
	}
	by, self := inv.Versions[n-1].User, p.r.User
	if by.Address != self.Address && by.Name != self.Name {
		return false
	}
	before := inv.State(n - 1)
	for kept := range inv.State(n) {
		if strings.HasPrefix(kept, manifest.FoundPrefix) && !hasKey(before, kept) {
			return false
		}
	}
	return true
}

// goesBeside has what is recorded at a path, and was never in the working folder, go on
// under another name. It reports false where that name is taken.
func (p *planner) goesBeside(c *change, logical string) bool {
	d := c.Old.Inv.State(c.Old.Head())[logical]
	name := Beside(logical, d)
	if is, recorded := c.Old.Inv.State(c.Old.Head())[name]; recorded && is != d {
		return false
	}
	if f, shown := c.Group.Files[name]; shown {
		return f.SHA256 == d
	}
	if c.Beside == nil {
		c.Beside = map[string]string{}
	}
	c.Beside[logical] = name
	p.never.Also(c.Slug, name, d)
	return true
}

// dropMoved looks for what has the bytes of a path that is absent: the file stands
// where it stood and counts for another site now, or it is a photo that was given
// another name. Small notes may be alike by accident, and are no proof.
func (p *planner) dropMoved() {
	at := map[string]manifest.Digest{} // what stands where one of these paths was
	for _, c := range p.changes {
		for _, logical := range c.Gone {
			if hasKey(p.never.Never(c.Slug), logical) {
				at[c.rawOld(logical)] = manifest.Digest{}
			}
		}
	}
	for _, g := range p.groups {
		for f := range g.All() {
			if hasKey(at, f.Path) {
				at[f.Path] = f.SHA256
			}
		}
	}
	came := map[manifest.Digest]int{}
	for _, c := range p.changes {
		c.Group.Load()
		for _, logical := range slices.Concat(c.Known, c.fresh.list()) {
			f := c.Group.Files[logical]
			if f.Kind == manifest.KindPhoto && !c.had(logical, f.SHA256) {
				came[f.SHA256]++
			}
		}
		c.Group.Release()
	}
	for _, unseen := range []bool{false, true} { // what surely was here comes first
		for _, c := range p.changes {
			never := p.never.Never(c.Slug)
			for _, logical := range c.Gone {
				d := c.Old.Inv.State(c.Old.Head())[logical]
				if hasKey(never, logical) != unseen {
					continue
				}
				stands := at[c.rawOld(logical)] == d
				if !stands && came[d] == 0 {
					continue
				}
				if !stands {
					came[d]--
				}
				if unseen {
					p.never.Moved(c.Slug, logical)
				}
			}
		}
	}
}

// rawOld is where a recorded path lay in the working folder.
func (c *change) rawOld(logical string) string {
	return manifest.RawPath(c.Old.Rec.Base, logical, c.Old.Rec.Paths[logical])
}

// had reports whether any version of the site had these bytes at that path.
func (c *change) had(logical string, d manifest.Digest) bool {
	if c.Old == nil || !hasKey(c.Old.Inv.Content, d) {
		return false
	}
	for n := range c.Old.Head() {
		if was, ok := c.Old.Inv.State(n + 1)[logical]; ok && was == d {
			return true
		}
	}
	return false
}

// Beside is a name for other bytes of a path that is taken.
func Beside(p string, d manifest.Digest) string {
	base := names.Base(p)
	stem, ext := base, ""
	if dot := strings.LastIndexByte(base, '.'); dot > 0 && len(base)-dot <= 9 {
		stem, ext = base[:dot], base[dot:]
	}
	return strings.TrimSuffix(p, base) + stem + "~" + d.String()[:8] + ext
}
