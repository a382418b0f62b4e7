package daemon

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"maps"
	"slices"

	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/gather"
	"linecamp/verify/history"
	"linecamp/verify/rot"
)

// known answers what should exist: the seal and the newest manifest of every
// site, from the state folder's cache, and where that lacks something from the
// copies within reach.
type known struct {
	a     *Archive
	ctx   context.Context
	r     *reach.Copies
	seal  *manifest.Seal
	slugs []string
	heads map[string]int
	seals verify.Sealed
}

// look reaches the copies and gathers what should exist. The caller closes k.r.
func (a *Archive) look(ctx context.Context) (*known, error) {
	r, err := a.reach(ctx, a.cfg.Copies, reach.Patient)
	if err != nil {
		return nil, err
	}
	k, err := a.known(ctx, r)
	if err != nil {
		r.Close()
	}
	return k, err
}

// known gathers it. The seal is the longest of those that agree.
func (a *Archive) known(ctx context.Context, r *reach.Copies) (*known, error) {
	k := &known{a: a, ctx: ctx, r: r, heads: map[string]int{}}
	seal, err := a.cache.Seal()
	if errors.Is(err, fs.ErrNotExist) {
		seal, err = manifest.DecodeSeal(nil)
	}
	if err != nil {
		return nil, fmt.Errorf("the seal in the state folder: %w", err)
	}
	k.seal = seal
	if seal.Len() == 0 {
		for _, h := range r.Open() {
			s, err := store.ReadSeal(ctx, h.Root)
			if err == nil && s.Len() > k.seal.Len() && s.Extends(k.seal) {
				k.seal = s
			}
			if ctx.Err() != nil {
				return nil, ctx.Err()
			}
		}
	}
	k.seals = verify.SealedBy(k.seal)
	for id, n := range k.seal.Heads() {
		if _, slug, err := manifest.ParseObjectID(id); err == nil {
			k.heads[slug] = n
		}
	}
	k.slugs = slices.Sorted(maps.Keys(k.heads))
	return k, nil
}

// seconded reports whether a copy other than the one named holds the first lines
// of the seal too.
func (k *known) seconded(ctx context.Context, copyID string, lines int) bool {
	var copies []verify.Copy
	for _, h := range k.r.Open() {
		copies = append(copies, forVerify(h))
	}
	return rot.Seconded(ctx, copies, copyID, k.seal, lines)
}

// object returns the newest manifest of a site known anywhere, with its record
// where that can be read. The error wraps fs.ErrNotExist if there is none.
func (k *known) object(slug string) (*manifest.Inventory, *manifest.Record, error) {
	if inv, rec, err := k.a.cached(slug); err == nil && inv.Head() >= k.heads[slug] {
		return inv, rec, nil
	}
	var best *manifest.Inventory
	var record *manifest.Record
	for _, h := range k.r.Open() {
		inv, rec, err := history.ReadObject(k.ctx, h.Root, slug)
		if k.ctx.Err() != nil {
			return nil, nil, k.ctx.Err()
		}
		if err != nil && !errors.Is(err, history.ErrNoRecord) {
			continue
		}
		if !k.seals.Vouches(inv) {
			continue // another history, however long
		}
		if best == nil || inv.Head() > best.Head() || inv.Head() == best.Head() && record == nil {
			best, record = inv, rec
		}
	}
	if best == nil {
		return nil, nil, fmt.Errorf("%s: no copy within reach has its manifest: %w", slug, fs.ErrNotExist)
	}
	return best, record, nil
}

// inventory is object without the record, as rot.Options asks for it.
func (k *known) inventory(slug string) (*manifest.Inventory, error) {
	inv, _, err := k.object(slug)
	return inv, err
}

// pairs yields every site's newest manifest and record, leaving out those that
// cannot be read.
func (k *known) pairs() iter.Seq2[*manifest.Inventory, *manifest.Record] {
	return func(yield func(*manifest.Inventory, *manifest.Record) bool) {
		for _, slug := range k.slugs {
			inv, rec, err := k.object(slug)
			if err != nil || rec == nil {
				continue
			}
			if !yield(inv, rec) {
				return
			}
		}
	}
}

// objects yields every site's newest manifest for judging the years, which may
// ask for the records of earlier versions too.
func (k *known) objects() iter.Seq[gather.Object] {
	return func(yield func(gather.Object) bool) {
		for _, slug := range k.slugs {
			inv, rec, err := k.object(slug)
			if err != nil {
				continue
			}
			o := gather.Object{Inventory: inv, Record: rec, RecordOf: func(version int) (*manifest.Record, error) {
				return k.recordOf(slug, inv, version)
			}}
			if !yield(o) {
				return
			}
		}
	}
}

// recordOf reads the record of one version from the nearest copy that has it.
func (k *known) recordOf(slug string, inv *manifest.Inventory, version int) (*manifest.Record, error) {
	d, ok := inv.State(version)[manifest.RecordPath]
	if !ok {
		return nil, fmt.Errorf("%s v%d: %w", slug, version, history.ErrNoRecord)
	}
	for _, h := range k.r.Nearest() {
		for _, path := range inv.Content[d] {
			raw, _, err := store.ReadSmall(k.ctx, h.Root, slug+"/"+path, manifest.MaxRecord)
			if err == nil && manifest.Sum(raw) == d {
				return manifest.DecodeRecord(raw)
			}
		}
	}
	return nil, fmt.Errorf("%s v%d: %w", slug, version, history.ErrNoRecord)
}

// cached returns a site's manifest and record from the state folder.
func (a *Archive) cached(slug string) (*manifest.Inventory, *manifest.Record, error) {
	inv, err := a.cache.Get(slug)
	if err != nil {
		return nil, nil, err
	}
	raw, err := a.cache.Record(slug)
	if err != nil {
		return nil, nil, err
	}
	if manifest.Sum(raw) != inv.State(inv.Head())[manifest.RecordPath] {
		return nil, nil, fmt.Errorf("%s: %w", slug, fs.ErrNotExist)
	}
	rec, err := manifest.DecodeRecord(raw)
	return inv, rec, err
}

// siteIDs finds the id of a site in the working folder among the recorded ones:
// by its folder, else by its names. A site never recorded has none yet.
func (a *Archive) siteIDs() (func(*tally.Site) string, error) {
	byBase, byName := map[string]string{}, map[string]string{}
	seal, err := a.cache.Seal()
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("the seal in the state folder: %w", err)
	}
	if err == nil {
		for id := range seal.Heads() {
			_, slug, err := manifest.ParseObjectID(id)
			if err != nil {
				continue
			}
			_, rec, err := a.cached(slug)
			if err != nil {
				continue // a cache may lack anything; the next mirror round fills it
			}
			if rec.Base != "" {
				byBase[rec.Base] = id
			}
			byName[rec.Pasture+"\x00"+rec.Site] = id
		}
	}
	return func(s *tally.Site) string {
		if id, ok := byBase[s.Base]; ok && s.Base != "" {
			return id
		}
		return byName[s.Pasture+"\x00"+s.Site]
	}, nil
}
