package restore

import (
	"context"

	"linecamp/manifest"
	"linecamp/verify"
	"linecamp/verify/history"
)

// further is what a site has in the object that goes on from a closed one, and in those
// that go on from that.
type further struct {
	slugs map[string]bool
	there bool   // something of it is brought
	base  string // and lies here
	paths map[string]bool
	bytes map[manifest.Digest]bool
	taken map[string]bool // names given in that folder
}

// on is f with one object more, as of a version; f may be nil. What the object had no
// version of on the day that is asked for adds nothing.
func (f *further) on(inv *manifest.Inventory, version int, base string, taken map[string]bool) *further {
	if f == nil {
		f = &further{slugs: map[string]bool{}, base: base, paths: map[string]bool{}, bytes: map[manifest.Digest]bool{}, taken: taken}
	}
	f.slugs[inv.Slug()] = true
	if version == 0 {
		return f
	}
	if !f.there {
		f.there, f.base = true, base
	}
	for path := range inv.FullHistory() {
		f.paths[path] = true
	}
	for d := range inv.Content {
		f.bytes[d] = true
	}
	return f
}

// lacks leaves the files that are not there further on. Where every version is wanted, other
// bytes of the same name are older ones.
func (f *further) lacks(files []wanted, every bool) (lacking []wanted) {
	for _, w := range files {
		if !f.paths[w.path] {
			lacking = append(lacking, w)
		} else if every && !f.bytes[w.held.Digest] {
			w.old = true
			lacking = append(lacking, w)
		}
	}
	return lacking
}

// last is 1 for a closed object, which comes behind the others, so that those which go on
// from it come first.
func (p *planner) last(slug string) int {
	if p.closed[slug] {
		return 1
	}
	return 0
}

// upToClosing cuts an object off behind its last version that counts; nil where none does.
func (p *planner) upToClosing(rs *history.Records) *history.Records {
	for n := rs.Inventory.Head(); n > 0; n-- {
		if _, ok := p.sealed[sealedVersion{rs.Inventory.ID, n}]; ok {
			return &history.Records{Inventory: rs.Inventory.Until(n), Roots: rs.Roots}
		}
	}
	return nil
}

// before posts what the closed objects that this one goes on from have more. Where its
// record is lost, they come by themselves.
func (p *planner) before(ctx context.Context, rs *history.Records, which visits, has *further, post func(item) bool) error {
	rec, _ := rs.Newest(ctx)
	for _, former := range verify.JoinedIn(rec) {
		if !p.closed[former] || has.slugs[former] {
			continue
		}
		p.part[former] = true
		if err := p.object(ctx, former, which, has, post); err != nil {
			return err
		}
	}
	return nil
}
