package mirror

import (
	"slices"

	"linecamp/manifest"
	"linecamp/manifest/tally"
)

// left is a recorded path that the tally no longer shows at its site.
type left struct {
	c       *change
	logical string
	entry   manifest.Entry
	digest  manifest.Digest
}

// regrouped looks at files that stand where they stood and count for another
// site now, because folders around them changed. Their bytes are judged by what
// the site before recorded of them, as if nothing had moved: what looks like
// damage stays with that site, and is not recorded anywhere.
func (p *planner) regrouped() error {
	if len(p.left) == 0 {
		return nil
	}
	proven, _, err := p.r.Ledger.Value(provenKey)
	if err != nil {
		return err
	}
	for _, c := range p.changes {
		c.group.load()
		kept := slices.DeleteFunc(c.fresh.list(), func(logical string) bool {
			f := c.group.files[logical]
			was, ok := p.left[f.Path]
			switch {
			case !ok || was.c == c || was.digest == f.SHA256:
				return false
			case was.entry.Bytes == f.Size && was.entry.Modified.Equal(f.Modified) && !hasKey(was.c.old.inv.Content, f.SHA256):
				p.r.wait(f.Path, ReasonDamaged, true)
			case proven == "" && p.r.Accept == nil:
				p.r.wait(f.Path, ReasonUnproven, true)
				p.unseen = true
			default:
				return false
			}
			p.withheld.add(f)
			c.size -= f.Size
			return true
		})
		c.fresh = packPaths(kept)
		c.group.release()
	}
	p.keepEntries()
	return nil
}

// withheld are the files that are not recorded in this round, and wait.
type withheld struct {
	paths map[string]bool // below the working folder
	bytes map[manifest.Digest]bool
}

func (h *withheld) add(f tally.File) {
	if h.paths == nil {
		h.paths, h.bytes = map[string]bool{}, map[manifest.Digest]bool{}
	}
	h.paths[f.Path], h.bytes[f.SHA256] = true, true
}

// keepEntries leaves in its site's record what waits under another: the file that
// stands where it stood, and the bytes that stand at another path now. If the
// site's own folder has another name, the site waits as a whole for a file that
// stayed behind: its record would say that it lies below the new name, where
// nobody put it.
func (p *planner) keepEntries() {
	for known := -1; known < len(p.withheld.paths); { // a site that waits may hold the next
		known = len(p.withheld.paths)
		p.changes = slices.DeleteFunc(p.changes, func(c *change) bool {
			if c.old == nil {
				return c.empty()
			}
			state := c.old.inv.State(c.old.head())
			moved, behind := c.old.rec.Base != c.group.base, false
			c.gone = slices.DeleteFunc(c.gone, func(logical string) bool {
				if p.withheld.paths[rawPath(c.old.rec.Base, logical, c.old.rec.Paths[logical])] {
					behind = moved
					return true
				}
				return !moved && p.withheld.bytes[state[logical]]
			})
			if behind {
				p.holdGroup(c.group, ReasonBehind, true)
			}
			return behind || c.empty()
		})
	}
}
