package mirror

import (
	"context"
	"slices"

	"linecamp/daemon/mirror/sites"
	"linecamp/daemon/mirror/source"
	"linecamp/manifest"
	"linecamp/manifest/store"
)

// sourcesFor lists, for every digest wanted, where its bytes may be: the
// working folder first, then drives, then buckets, leaving out the copy that
// asks. Copies that are not known to have version n come last: a ledger that lost
// its newest lines in a power cut knows less than there is.
func (r *round) sourcesFor(o *sites.Object, n int, wanted map[string]manifest.Digest, not *copyRun) map[manifest.Digest][]source.Source {
	from := make(map[manifest.Digest][]source.Source, len(wanted))
	for _, d := range wanted {
		from[d] = nil
	}
	if r.Tally != nil {
		for logical, d := range o.Inv.State(o.Head()) {
			if _, ok := from[d]; !ok {
				continue
			}
			if e, ok := o.Rec.Paths[logical]; ok {
				from[d] = append(from[d], source.Working(r.Tally.Folder, manifest.RawPath(o.Rec.Base, logical, e), e.Bytes))
			}
		}
	}
	wants := func(d manifest.Digest) bool { _, ok := from[d]; return ok }
	if d := manifest.Sum(o.Raw); o.Raw != nil && wants(d) {
		from[d] = append(from[d], source.Bytes("the state folder", o.Raw))
	}
	if d, ok := o.Inv.State(n)[manifest.RecordPath]; ok && wants(d) && n < o.Head() {
		if raw, err := r.Cache.OldRecord(o.Slug, d); err == nil {
			from[d] = append(from[d], source.Bytes("the state folder", raw))
		} else if raw := o.Rec.Earlier(o.Inv.State(n)); raw != nil {
			from[d] = append(from[d], source.Bytes("the newest record", raw))
		}
	}
	others := slices.DeleteFunc(slices.Clone(r.copies), func(c *copyRun) bool {
		return c == not || !c.canRead()
	})
	lacks := func(c *copyRun) int {
		if c.holds.Has(o.Slug) < n {
			return 2
		}
		return 0
	}
	slices.SortStableFunc(others, func(a, b *copyRun) int { return rank(a) + lacks(a) - rank(b) - lacks(b) })
	sizes := manifest.Sizes(o.Inv.State(o.Head()), o.Rec)
	for d := range from {
		size, ok := sizes[d]
		if !ok {
			size = -1
		}
		for _, c := range others {
			for _, p := range o.Inv.Content[d] {
				from[d] = append(from[d], source.Held(c.forOthers(), o.Slug+"/"+p, size))
			}
		}
	}
	return from
}

// rank puts copies that cost nothing to read before those behind a link.
func rank(c *copyRun) int {
	if c.Can().Local {
		return 0
	}
	return 1
}

// bring stores the bytes of d on the copy, from the first source whose bytes match.
func (c *copyRun) bring(ctx context.Context, put source.Putter, d manifest.Digest, from []source.Source) (store.Info, error) {
	return source.Bring(ctx, put, d, from, c.advance)
}
