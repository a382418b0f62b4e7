package mirror

import (
	"slices"

	"linecamp/manifest"
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
// damage stays with that site, and is not recorded anywhere. If that site's
// folder has another name now, the site waits as a whole: its record would say
// that the file lies below the new name, where nobody put it.
func (p *planner) regrouped() error {
	if len(p.left) == 0 {
		return nil
	}
	proven, _, err := p.r.Ledger.Value(provenKey)
	if err != nil {
		return err
	}
	behind := map[*change]bool{} // sites that moved on without a file that waits
	for _, c := range p.changes {
		c.fresh = slices.DeleteFunc(c.fresh, func(logical string) bool {
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
			was.c.gone = slices.DeleteFunc(was.c.gone, func(l string) bool { return l == was.logical })
			behind[was.c] = was.c.old.rec.Base != was.c.group.base
			return true
		})
	}
	p.changes = slices.DeleteFunc(p.changes, func(c *change) bool {
		if behind[c] {
			p.holdGroup(c.group, ReasonBehind)
		}
		return behind[c] || c.empty()
	})
	return nil
}
