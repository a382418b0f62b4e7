package archive

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"maps"
	"slices"
	"sync"
	"sync/atomic"

	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/gather"
	"linecamp/verify/history"
	"linecamp/verify/rot"
)

// Known answers what should exist: the seal and the newest manifest of every
// site, from the state folder's cache, and where that lacks something from the
// copies within reach.
type Known struct {
	Copies *reach.Copies
	Seal   *seal.Seal
	Slugs  []string // of every site, sorted
	Ctx    context.Context

	a     *Archive
	heads map[string]int
	seals verify.Sealed
	once  sync.Once
	parts map[string]bool // closed objects that another goes on from; see Present
	asked atomic.Bool     // copies were, for a manifest that is not at hand
}

// Look reaches the copies and gathers what should exist. The caller closes k.Copies.
func (a *Archive) Look(ctx context.Context) (*Known, error) {
	r, err := a.Reach(ctx, a.Config.Copies, reach.Patient)
	if err != nil {
		return nil, err
	}
	k, err := a.Known(ctx, r)
	if err != nil {
		r.Close()
	}
	return k, err
}

// Known gathers it. The seal is the longest of those that agree.
func (a *Archive) Known(ctx context.Context, r *reach.Copies) (*Known, error) {
	k := &Known{a: a, Ctx: ctx, Copies: r, heads: map[string]int{}}
	log, err := a.Cache.Seal()
	if errors.Is(err, fs.ErrNotExist) {
		log, err = seal.Decode(nil)
	}
	if err != nil {
		return nil, fmt.Errorf("the seal in the state folder: %w", err)
	}
	k.Seal = log
	if log.Len() == 0 {
		var told []seal.Told
		for _, h := range r.Open() {
			if s, err := store.ReadSeal(ctx, h.Root); err == nil {
				told = append(told, seal.Told{Seal: s})
			}
			if ctx.Err() != nil {
				return nil, ctx.Err()
			}
		}
		k.Seal, _ = seal.Right(log, told...)
	}
	k.seals = verify.SealedBy(k.Seal)
	for id, n := range k.Seal.Heads() {
		if _, slug, err := manifest.ParseObjectID(id); err == nil {
			k.heads[slug] = n
		}
	}
	k.Slugs = slices.Sorted(maps.Keys(k.heads))
	return k, nil
}

// Seconded reports whether a copy other than the one named holds the first lines
// of the seal too.
func (k *Known) Seconded(ctx context.Context, copyID string, lines int) bool {
	var copies []verify.Copy
	for _, h := range k.Copies.Open() {
		copies = append(copies, ForVerify(h))
	}
	return rot.Seconded(ctx, copies, copyID, k.Seal, lines)
}

// Object returns the newest manifest of a site known anywhere, with its record
// where that can be read. The error wraps fs.ErrNotExist if there is none.
func (k *Known) Object(slug string) (*manifest.Inventory, *manifest.Record, error) {
	if inv, rec, err := k.a.Cached(slug); err == nil && inv.Head() >= k.heads[slug] && k.seals.Vouches(inv) {
		return inv, rec, nil
	}
	k.asked.Store(true)
	var best *manifest.Inventory
	var record *manifest.Record
	for _, h := range k.Copies.Open() {
		inv, rec, err := history.ReadObject(k.Ctx, h.Root, slug)
		if k.Ctx.Err() != nil {
			return nil, nil, k.Ctx.Err()
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
		return nil, nil, fault.Say(fs.ErrNotExist, "%s: no copy within reach has its manifest", slug)
	}
	return best, record, nil
}

// Inventory is object without the record, as rot.Options asks for it.
func (k *Known) Inventory(slug string) (*manifest.Inventory, error) {
	inv, _, err := k.Object(slug)
	return inv, err
}

// Present are the objects that sites are recorded in now: all but the closed ones that
// another goes on from.
func (k *Known) Present() []string {
	closed := verify.ClosedBy(k.Seal)
	if len(closed) == 0 {
		return k.Slugs
	}
	k.once.Do(func() {
		k.parts = map[string]bool{}
		for _, slug := range k.Slugs {
			_, rec, _ := k.Object(slug)
			for _, former := range verify.JoinedIn(rec) {
				k.parts[former] = closed[former] && former != slug
			}
		}
	})
	return slices.DeleteFunc(slices.Clone(k.Slugs), func(slug string) bool { return k.parts[slug] })
}

// Pairs yields the newest manifest and record of every site, as it is recorded now,
// leaving out those that cannot be read.
func (k *Known) Pairs() iter.Seq2[*manifest.Inventory, *manifest.Record] {
	return func(yield func(*manifest.Inventory, *manifest.Record) bool) {
		for _, slug := range k.Present() {
			inv, rec, err := k.Object(slug)
			if err != nil || rec == nil {
				continue
			}
			if !yield(inv, rec) {
				return
			}
		}
	}
}

// Objects yields every site's newest manifest for judging the years, which may
// ask for the records of earlier versions too.
func (k *Known) Objects() iter.Seq[gather.Object] {
	return func(yield func(gather.Object) bool) {
		for _, slug := range k.Slugs {
			inv, rec, err := k.Object(slug)
			if err != nil {
				continue
			}
			o := gather.Object{Inventory: inv, Record: rec, RecordOf: func(version int) (*manifest.Record, error) {
				return k.RecordOf(slug, inv, version)
			}}
			if !yield(o) {
				return
			}
		}
	}
}

// RecordOf reads the record of one version from the nearest copy that has it.
func (k *Known) RecordOf(slug string, inv *manifest.Inventory, version int) (*manifest.Record, error) {
	d, ok := inv.State(version)[manifest.RecordPath]
	if !ok {
		return nil, fmt.Errorf("%s v%d: %w", slug, version, history.ErrNoRecord)
	}
	for _, h := range k.Copies.Nearest() {
		for _, path := range inv.Content[d] {
			raw, _, err := store.ReadSmall(k.Ctx, h.Root, slug+"/"+path, manifest.MaxRecord)
			if err == nil && manifest.Sum(raw) == d {
				return manifest.DecodeRecord(raw)
			}
		}
	}
	return nil, fmt.Errorf("%s v%d: %w", slug, version, history.ErrNoRecord)
}

// Cached returns a site's manifest and record from the state folder.
func (a *Archive) Cached(slug string) (*manifest.Inventory, *manifest.Record, error) {
	inv, err := a.Cache.Get(slug)
	if err != nil {
		return nil, nil, err
	}
	raw, err := a.Cache.Record(slug)
	if err != nil {
		return nil, nil, err
	}
	if manifest.Sum(raw) != inv.State(inv.Head())[manifest.RecordPath] {
		return nil, nil, fault.Say(fs.ErrNotExist, "%s: it is not there", slug)
	}
	rec, err := manifest.DecodeRecord(raw)
	return inv, rec, err
}

// SiteIDs finds the id of a site in the working folder among the recorded ones:
// by its folder, else by its names. A site never recorded has none yet.
func (a *Archive) SiteIDs() (func(*tally.Site) string, error) {
	byBase, byName := map[string]string{}, map[string]string{}
	seal, err := a.Cache.Seal()
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("the seal in the state folder: %w", err)
	}
	if err == nil {
		closed := verify.ClosedBy(seal)
		for id := range seal.Heads() {
			_, slug, err := manifest.ParseObjectID(id)
			if err != nil {
				continue
			}
			_, rec, err := a.Cached(slug)
			if err != nil {
				continue // a cache may lack anything; the next mirror round fills it
			}
			put := func(names map[string]string, name string) {
				if names[name] == "" || !closed[slug] { // a closed one goes on in the other
					names[name] = id
				}
			}
			put(byBase, rec.Base)
			put(byName, rec.Pasture+"\x00"+rec.Site)
		}
	}
	return func(s *tally.Site) string {
		if id, ok := byBase[s.Base]; ok && s.Base != "" {
			return id
		}
		return byName[s.Pasture+"\x00"+s.Site]
	}, nil
}

// Heads is the newest recorded version of every object, by slug, as the state
// folder knows it.
func (a *Archive) Heads() (map[string]int, error) {
	seal, err := a.Cache.Seal()
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("the seal in the state folder: %w", err)
	}
	heads := map[string]int{}
	for id, n := range seal.Heads() {
		if _, slug, err := manifest.ParseObjectID(id); err == nil {
			heads[slug] = n
		}
	}
	return heads, nil
}
