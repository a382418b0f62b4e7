package plan

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
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
		c.Group.Load()
		kept := slices.DeleteFunc(c.fresh.list(), func(logical string) bool {
			f := c.Group.Files[logical]
			was, ok := p.left[f.Path]
			switch {
			case !ok || was.c == c || was.digest == f.SHA256:
				return false
			case was.entry.Bytes == f.Size && was.entry.Modified.Equal(f.Modified) && !hasKey(was.c.Old.Inv.Content, f.SHA256):
				p.r.Wait(f.Path, ReasonDamaged, true)
			case proven == "" && !p.r.Accepted:
				p.r.Wait(f.Path, ReasonUnproven, true)
				p.unseen = true
			default:
				return false
			}
			p.withheld.add(f)
			c.size -= f.Size
			return true
		})
		c.fresh = packPaths(kept)
		c.Group.Release()
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
// site's own folder has another name, the site keeps the old one on record for a
// file that stayed behind: else its record would say that the file lies below the
// new name, where nobody put it.
func (p *planner) keepEntries() {
	for known := -1; known < len(p.withheld.paths); { // a site that waits may hold the next
		known = len(p.withheld.paths)
		for _, c := range p.changes {
			if c.Old == nil || c.Stays {
				continue
			}
			state := c.Old.Inv.State(c.Old.Head())
			moved, behind := c.Old.Rec.Base != c.Group.Base, false
			c.Gone = slices.DeleteFunc(c.Gone, func(logical string) bool {
				if p.withheld.paths[manifest.RawPath(c.Old.Rec.Base, logical, c.Old.Rec.Paths[logical])] {
					behind = moved
					return true
				}
				return !moved && p.withheld.bytes[state[logical]]
			})
			if behind {
				c.Group.Load()
				p.stay(c, ReasonBehind, true)
				c.Group.Release()
			}
		}
		p.changes = slices.DeleteFunc(p.changes, (*change).empty)
	}
}

// stay lets a site's folder keep its old name on record, and all that hangs on
// the new one wait. Files whose bytes nobody has yet are kept all the same, where
// no other file has the name they go by until then. The change's group is loaded.
func (p *planner) stay(c *change, reason string, person bool) {
	state := c.Old.Inv.State(c.Old.Head())
	held := map[string]bool{}
	fresh := map[string]bool{}
	for logical := range c.fresh.All() {
		_, recorded := state[logical]
		fresh[logical] = !recorded && !p.stands(manifest.RawPath(c.Old.Rec.Base, logical, c.Group.Entry(logical)))
	}
	p.r.Wait(c.Group.Base, reason, person)
	for logical, f := range c.Group.Files {
		if fresh[logical] {
			continue
		}
		held[logical] = true
		p.withheld.add(f)
		if state[logical] != f.SHA256 {
			p.r.Wait(f.Path, reason, person)
		}
	}
	c.leave(held)
	c.Stays, c.Renamed, c.Gone, c.Altered = true, false, nil, nil
}

// stands reports whether something may lie at raw below the working folder.
func (p *planner) stands(raw string) bool {
	_, err := os.Lstat(filepath.Join(p.r.Tally.Folder, filepath.FromSlash(raw)))
	return !errors.Is(err, fs.ErrNotExist)
}
