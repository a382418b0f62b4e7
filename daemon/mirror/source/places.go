package source

import (
	"slices"

	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/sites"
	"linecamp/manifest"
)

// Place is a copy that may have content of an object, and which of its versions the copy has.
type Place struct {
	authority.Copy
	Has func(slug string) int
}

// Places are all places of a round that may have bytes.
type Places struct {
	Folder string                                               // the working folder, "" for none
	Old    func(slug string, d manifest.Digest) ([]byte, error) // an earlier record, from the state folder
	Copies []Place
}

// For lists, for every digest wanted of version n, where its bytes may be: the working
// folder first, then drives, then buckets, leaving out the copy that asks, by its id. Copies
// that are not known to have version n come last: a ledger that lost its newest lines in
// a power cut knows less than there is.
func (r Places) For(o *sites.Object, n int, wanted map[string]manifest.Digest, not string) map[manifest.Digest][]Source {
	from := make(map[manifest.Digest][]Source, len(wanted))
	for _, d := range wanted {
		from[d] = nil
	}
	if r.Folder != "" {
		for logical, d := range o.Inv.State(o.Head()) {
			if _, ok := from[d]; !ok {
				continue
			}
			if e, ok := o.Rec.Paths[logical]; ok {
				from[d] = append(from[d], Working(r.Folder, manifest.RawPath(o.Rec.Base, logical, e), e.Bytes))
			}
		}
	}
	wants := func(d manifest.Digest) bool { _, ok := from[d]; return ok }
	if d := manifest.Sum(o.Raw); o.Raw != nil && wants(d) {
		from[d] = append(from[d], Bytes("the state folder", o.Raw))
	}
	if d, ok := o.Inv.State(n)[manifest.RecordPath]; ok && wants(d) && n < o.Head() {
		if raw, err := r.Old(o.Slug, d); err == nil {
			from[d] = append(from[d], Bytes("the state folder", raw))
		} else if raw := o.Rec.Earlier(o.Inv.State(n)); raw != nil {
			from[d] = append(from[d], Bytes("the newest record", raw))
		}
	}
	others := slices.DeleteFunc(slices.Clone(r.Copies), func(c Place) bool {
		return c.ID == not || !c.CanRead()
	})
	lacks := func(c Place) int {
		if c.Has(o.Slug) < n {
			return 2
		}
		return 0
	}
	slices.SortStableFunc(others, func(a, b Place) int { return rank(a) + lacks(a) - rank(b) - lacks(b) })
	sizes := manifest.Sizes(o.Inv.State(o.Head()), o.Rec)
	for d := range from {
		size, ok := sizes[d]
		if !ok {
			size = -1
		}
		for _, c := range others {
			for _, p := range o.Inv.Content[d] {
				from[d] = append(from[d], Held(c.Copy, o.Slug+"/"+p, size))
			}
		}
	}
	return from
}

// rank puts copies that cost nothing to read before those behind a link.
func rank(c Place) int {
	if c.Can().Local {
		return 0
	}
	return 1
}
