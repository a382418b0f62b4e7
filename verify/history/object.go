package history

import (
	"context"
	"errors"
	"fmt"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// ErrNoRecord marks an object whose manifest is good and whose record is not:
// names and bytes are known, times and visits are not.
var ErrNoRecord = errors.New("the record cannot be read")

// ReadObject returns the newest committed inventory of an object and the record
// that belongs to it. If only the record is damaged or missing, the inventory
// is returned beside an error that wraps ErrNoRecord.
func ReadObject(ctx context.Context, r store.Root, slug string) (*manifest.Inventory, *manifest.Record, error) {
	inv, err := store.Head(ctx, r, slug)
	if err != nil {
		return nil, nil, err
	}
	rec, err := ReadRecord(ctx, r, inv, inv.Head())
	return inv, rec, err
}

// ReadRecord reads the record of one version and checks its digest. Errors wrap
// ErrNoRecord, unless ctx ended.
func ReadRecord(ctx context.Context, r store.Root, inv *manifest.Inventory, version int) (*manifest.Record, error) {
	d, ok := inv.State(version)[manifest.RecordPath]
	paths := inv.Content[d]
	if !ok || len(paths) == 0 {
		return nil, fault.Say(ErrNoRecord, "version %d of %s has none", version, inv.Slug())
	}
	var faults []error
	for _, p := range paths {
		key := inv.Slug() + "/" + p
		b, info, err := store.ReadSmall(ctx, r, key, manifest.MaxRecord)
		if err == nil && info.SHA256 != d {
			err = fault.Say(store.ErrDigest, "%s: %s is not what the manifest says", r.Name(), key)
		}
		if err == nil {
			var rec *manifest.Record
			if rec, err = manifest.DecodeRecord(b); err == nil {
				return rec, nil
			}
		}
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		faults = append(faults, err)
	}
	return nil, fmt.Errorf("%w: %w", ErrNoRecord, errors.Join(faults...))
}

// Records reads the records of one object as they are asked for, and keeps them.
// It is not for several goroutines.
type Records struct {
	Inventory *manifest.Inventory
	Roots     []store.Root // tried in order
	read      map[int]*manifest.Record
}

// Of returns the record of a version, or nil with the reason.
func (rs *Records) Of(ctx context.Context, version int) (*manifest.Record, error) {
	if rec, ok := rs.read[version]; ok {
		if rec == nil {
			return nil, fmt.Errorf("version %d of %s: %w", version, rs.Inventory.Slug(), ErrNoRecord)
		}
		return rec, nil
	}
	var rec *manifest.Record
	err := fault.Say(ErrNoRecord, "no copy of %s", rs.Inventory.Slug())
	for _, r := range rs.Roots {
		if rec, err = ReadRecord(ctx, r, rs.Inventory, version); err == nil {
			break
		}
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
	}
	if rs.read == nil {
		rs.read = map[int]*manifest.Record{}
	}
	rs.read[version] = rec
	return rec, err
}

// Forget lets go of what was read.
func (rs *Records) Forget() { rs.read = nil }

// Entry returns what the records say of a path whose newest bytes are those of
// held, with the record it stands in. Where that version's own record is lost,
// another version that has the same bytes there serves. Both are nil where
// nothing is known.
func (rs *Records) Entry(ctx context.Context, held manifest.Held) (*manifest.Entry, *manifest.Record, error) {
	var first error
	for n := held.Version; n > 0; n-- {
		if rs.Inventory.State(n)[held.Path] != held.Digest {
			break
		}
		rec, err := rs.Of(ctx, n)
		if ctx.Err() != nil {
			return nil, nil, ctx.Err()
		}
		if err == nil {
			if e, ok := rec.Paths[held.Path]; ok {
				return &e, rec, nil
			}
			err = fault.Say(ErrNoRecord, "the record of version %d of %s does not name it", n, rs.Inventory.Slug())
		}
		if first == nil {
			first = err
		}
	}
	return nil, nil, first
}

// Newest returns the newest record that can be read; nil with the reason of the
// newest one's fault if none can.
func (rs *Records) Newest(ctx context.Context) (*manifest.Record, error) {
	var first error
	for n := rs.Inventory.Head(); n > 0; n-- {
		rec, err := rs.Of(ctx, n)
		if err == nil || ctx.Err() != nil {
			return rec, err
		}
		if first == nil {
			first = err
		}
	}
	return nil, first
}
