package mend

import (
	"context"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/verify"
	"linecamp/verify/history"
)

// seen is what is known of one object, while its files are mended one after the
// other: an archive's manifests together are large, and each takes long to read.
type seen struct {
	object  string
	best    *manifest.Inventory            // the newest anywhere; nil where there is none
	asked   bool                           // for best
	own     map[string]*manifest.Inventory // the newest on one copy; nil where there is none
	agreed  map[[2]*manifest.Inventory]bool
	indexes map[*manifest.Inventory]*index
}

// index is an inventory the other way round.
type index struct {
	digests map[string]manifest.Digest   // of content paths
	paths   map[manifest.Digest][]string // people's files of the newest version
	record  *manifest.Record             // the newest; nil where no copy can read it
	sizes   map[manifest.Digest]int64    // by that record
	read    bool                         // it was looked for
}

// about forgets what is known of any other object.
func (m *mender) about(object string) {
	if m.object != object || m.own == nil {
		m.seen = seen{object: object, own: map[string]*manifest.Inventory{},
			agreed: map[[2]*manifest.Inventory]bool{}, indexes: map[*manifest.Inventory]*index{}}
	}
}

// newest returns the newest inventory of the object that is known anywhere and
// of the archive's own history, nil if none.
func (m *mender) newest(ctx context.Context, object string) *manifest.Inventory {
	if m.asked {
		return m.best
	}
	var best *manifest.Inventory
	if m.Expected != nil {
		if inv, err := m.Expected(object); err == nil && m.seals(ctx).Vouches(inv) {
			best = inv
		}
	}
	for _, c := range m.Copies {
		inv := m.ownOf(ctx, c, object)
		switch {
		case inv == nil || best != nil && inv.Head() <= best.Head():
		case (best == nil || m.agree(best, inv)) && m.seals(ctx).Vouches(inv):
			best = inv
		}
	}
	if ctx.Err() == nil {
		m.best, m.asked = best, true
	}
	return best
}

// ownOf returns the newest inventory a copy itself has committed, nil if none.
func (m *mender) ownOf(ctx context.Context, c verify.Copy, object string) *manifest.Inventory {
	if inv, asked := m.own[c.Name]; asked {
		return inv
	}
	inv, err := store.Head(ctx, c.Root, object)
	if err != nil {
		inv = nil
	}
	if ctx.Err() == nil {
		m.own[c.Name] = inv
	}
	return inv
}

// judge returns the inventory a copy's files are judged by: the newest known,
// as long as the copy's own is a beginning of it; else the copy's own.
func (m *mender) judge(ctx context.Context, c verify.Copy, object string) *manifest.Inventory {
	best, own := m.newest(ctx, object), m.ownOf(ctx, c, object)
	if best != nil && (own == nil || m.agree(best, own)) {
		return best
	}
	return own
}

// agree reports whether one inventory is a beginning of the other.
func (m *mender) agree(a, b *manifest.Inventory) bool {
	k := [2]*manifest.Inventory{a, b}
	is, known := m.agreed[k]
	if !known {
		n := min(a.Head(), b.Head())
		is = a == b || string(a.Until(n).Encode()) == string(b.Until(n).Encode())
		m.agreed[k] = is
	}
	return is
}

func (m *mender) index(inv *manifest.Inventory) *index {
	x := m.indexes[inv]
	if x == nil {
		x = &index{digests: map[string]manifest.Digest{}, paths: map[manifest.Digest][]string{}}
		for d, paths := range inv.Content {
			for _, p := range paths {
				x.digests[p] = d
			}
		}
		for p, d := range inv.State(inv.Head()) {
			if !manifest.Reserved(p) {
				x.paths[d] = append(x.paths[d], p)
			}
		}
		m.indexes[inv] = x
	}
	return x
}

// fits reports whether a file of that size may have the bytes of a digest: no
// more than the newest record says, or than a record may have where they are one.
func (m *mender) fits(ctx context.Context, inv *manifest.Inventory, d manifest.Digest, size int64) bool {
	for n := inv.Head(); n > 0; n-- {
		if inv.State(n)[manifest.RecordPath] == d {
			return size <= manifest.MaxRecord
		}
	}
	x := m.index(inv)
	if x.sizes == nil {
		x.sizes = manifest.Sizes(inv.State(inv.Head()), m.record(ctx, inv))
	}
	want, known := x.sizes[d]
	return !known || size <= want
}

// record is the newest record any copy, or the state folder, can read.
func (m *mender) record(ctx context.Context, inv *manifest.Inventory) *manifest.Record {
	x := m.index(inv)
	if x.read {
		return x.record
	}
	rs := history.Records{Inventory: inv}
	for _, c := range m.Copies {
		rs.Roots = append(rs.Roots, c.Root)
	}
	rec, err := rs.Of(ctx, inv.Head())
	if err != nil {
		if rec, err = manifest.DecodeRecord(m.cachedRecord(inv)); err != nil {
			rec = nil
		}
	}
	if ctx.Err() == nil {
		x.record, x.read = rec, true
	}
	return rec
}

// cachedRecord is the newest record as the state folder has it, nil if it does
// not have it.
func (m *mender) cachedRecord(inv *manifest.Inventory) []byte {
	if m.Record == nil {
		return nil
	}
	raw, err := m.Record(inv.Slug())
	if err != nil || manifest.Sum(raw) != inv.State(inv.Head())[manifest.RecordPath] {
		return nil
	}
	return raw
}

// earlierRecord makes the record of an earlier version again from the newest,
// nil where the digest is of no record, or of one that said something else.
func (m *mender) earlierRecord(ctx context.Context, inv *manifest.Inventory, d manifest.Digest) []byte {
	for n := 1; n < inv.Head(); n++ {
		if state := inv.State(n); state[manifest.RecordPath] == d {
			if rec := m.record(ctx, inv); rec != nil {
				return rec.Earlier(state)
			}
		}
	}
	return nil
}
