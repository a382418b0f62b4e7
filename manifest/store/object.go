package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"

	"linecamp/manifest"
	"linecamp/manifest/store/fault"
)

// Most bytes read of the small files that are held in memory. An inventory is
// warned about from 8 MiB; a site that needs 256 MiB of it is not real.
const (
	MaxInventory = 256 << 20
	MaxSmall     = 64 << 10
)

// mostAhead is how many versions a root pair may be behind. A round leaves it
// behind by one, and goes no further before it is written again.
const mostAhead = 1000

// ReadSmall reads a whole key into memory; more than limit bytes is an error.
// The Info it returns holds the digest of what was read.
//
// Where the service reports another digest than the bytes have, they are read
// once more, for the link may have changed them. What comes then counts: bytes
// that rotted in the bucket stay what they are, for the caller to judge.
func ReadSmall(ctx context.Context, r Root, key string, limit int64) ([]byte, Info, error) {
	b, info, reported, err := readSmall(ctx, r, key, limit)
	if err == nil && !reported.IsZero() && reported != info.SHA256 {
		b, info, _, err = readSmall(ctx, r, key, limit)
	}
	return b, info, err
}

func readSmall(ctx context.Context, r Root, key string, limit int64) (b []byte, info Info, reported manifest.Digest, err error) {
	f, info, err := r.Open(ctx, key)
	if err != nil {
		return nil, Info{}, reported, err
	}
	defer f.Close()
	if err = manifest.ErrLong; info.Size <= limit { // else nothing is read in vain
		b, err = manifest.ReadUpTo(f, limit)
	}
	if errors.Is(err, manifest.ErrLong) {
		err = fmt.Errorf("%w: it may have %d bytes", err, limit)
	}
	if err != nil {
		return nil, Info{}, reported, fmt.Errorf("%s: reading %s: %w", r.Name(), key, err)
	}
	reported = info.SHA256
	info.Size = int64(len(b))
	info.SHA256 = manifest.Sum(b)
	return b, info, reported, nil
}

// Objects lists the objects of a root by the names of their folders.
func Objects(ctx context.Context, r Root) ([]string, error) {
	names, err := r.Folders(ctx, "")
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(names, func(n string) bool { return !IsObjectName(n) }), nil
}

// Head returns the inventory of the highest committed version of an object;
// ErrNoObject when the root holds none.
//
// The root pair is a hint that saves a listing: it is only ever written after
// the version it shows was committed. A version made since is looked for one
// number up; a root pair that does not agree with itself is passed over and the
// version folders are listed.
func Head(ctx context.Context, r Root, object string) (*manifest.Inventory, error) {
	inv, _, _, err := head(ctx, r, object)
	return inv, err
}

// HeadSettled is Head, and reports whether the root pair shows that version.
// Where it does not, a commit was cut off before its end or the pair rotted, and
// [Settle] writes it again.
func HeadSettled(ctx context.Context, r Root, object string) (inv *manifest.Inventory, settled bool, err error) {
	inv, _, shown, err := head(ctx, r, object)
	if err != nil {
		return nil, false, err
	}
	return inv, shown == inv.Head(), nil
}

// head is Head, with the bytes of the inventory and the version that the root
// pair shows, 0 where it shows none.
func head(ctx context.Context, r Root, object string) (inv *manifest.Inventory, raw []byte, shown int, err error) {
	if err := CheckObject(object); err != nil {
		return nil, nil, 0, err
	}
	raw, inv, err = readPair(ctx, r, object, "")
	switch {
	case err == nil:
		shown = inv.Head()
		for {
			if inv.Head() > shown+mostAhead {
				return nil, nil, 0, fault.Say(ErrDamaged, "%s: %s has more than %d versions beyond the one that its root pair shows", r.Name(), object, mostAhead)
			}
			next, nextInv, err := Committed(ctx, r, object, inv.Head()+1)
			if errors.Is(err, errNotCommitted) {
				return inv, raw, shown, nil
			}
			if err != nil {
				return nil, nil, 0, err
			}
			raw, inv = next, nextInv
		}
	case ctx.Err() != nil:
		return nil, nil, 0, err
	default: // broken, absent or unreadable: the versions themselves decide
		inv, raw, err = HeadByListing(ctx, r, object)
		return inv, raw, 0, err
	}
}

// HeadByListing finds the highest committed version without the root pair.
func HeadByListing(ctx context.Context, r Root, object string) (*manifest.Inventory, []byte, error) {
	versions, err := VersionsOf(ctx, r, object)
	if err != nil {
		return nil, nil, err
	}
	for _, n := range slices.Backward(versions) {
		raw, inv, err := Committed(ctx, r, object, n)
		if errors.Is(err, errNotCommitted) {
			continue
		}
		return inv, raw, err
	}
	return nil, nil, fault.Say(ErrNoObject, "%s holds no version of %s", r.Name(), object)
}

// HeadNumber is the highest committed version of an object, 0 for none.
func HeadNumber(ctx context.Context, r Root, object string) (int, error) {
	inv, _, _, err := head(ctx, r, object)
	if errors.Is(err, ErrNoObject) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	return inv.Head(), nil
}

// CheckNext refuses any version but the next one: history is only ever added
// to, and has no gaps.
func CheckNext(r Root, object string, n, version int) error {
	switch {
	case version <= n:
		return fault.Say(ErrConflict, "%s already holds version %d of %s", r.Name(), version, object)
	case version > n+1:
		return fault.Say(ErrConflict, "%s holds %s up to version %d, so version %d cannot come next", r.Name(), object, n, version)
	}
	return nil
}

// VersionsOf lists the version folders of an object, committed or not, lowest
// first.
func VersionsOf(ctx context.Context, r Root, object string) ([]int, error) {
	names, err := r.Folders(ctx, object)
	if err != nil {
		return nil, err
	}
	var versions []int
	for _, name := range names {
		if n := VersionNumber(name); n > 0 {
			versions = append(versions, n)
		}
	}
	slices.Sort(versions)
	return versions, nil
}

// Committed reads version n of an object; errNotCommitted when its sidecar is
// absent or does not match its inventory. The sidecar is asked for first: it is
// written last, so its absence is the whole answer.
func Committed(ctx context.Context, r Root, object string, n int) ([]byte, *manifest.Inventory, error) {
	raw, inv, err := readPair(ctx, r, object, VersionName(n)+"/")
	if err == nil && inv.Head() != n {
		return nil, nil, fmt.Errorf("%s: %s says it is version %d: %w", r.Name(), VersionFile(object, n, InventoryName), inv.Head(), errNotCommitted)
	}
	return raw, inv, err
}

// readPair reads an inventory of an object and its sidecar, which must agree,
// from one of its folders ("" or "vN/").
// errNotCommitted covers every way in which they do not; other errors mean that
// the root could not be read.
func readPair(ctx context.Context, r Root, object, folder string) ([]byte, *manifest.Inventory, error) {
	invKey, sideKey := object+"/"+folder+InventoryName, object+"/"+folder+SidecarName
	side, _, err := ReadSmall(ctx, r, sideKey, MaxSmall)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil, fmt.Errorf("%s: %s is absent: %w", r.Name(), sideKey, errNotCommitted)
	}
	if err != nil {
		return nil, nil, err
	}
	raw, _, err := ReadSmall(ctx, r, invKey, MaxInventory)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil, fmt.Errorf("%s: %s is absent: %w", r.Name(), invKey, errNotCommitted)
	}
	if err != nil {
		return nil, nil, err
	}
	if err := manifest.CheckSidecar(raw, side); err != nil {
		return nil, nil, fmt.Errorf("%s: %s: %w (%w)", r.Name(), invKey, err, errNotCommitted)
	}
	inv, err := manifest.DecodeInventory(raw)
	if err != nil {
		// It is what was written, so it is no torn write: a person should see it.
		return nil, nil, fmt.Errorf("%s: %s: %w", r.Name(), invKey, err)
	}
	if inv.Slug() != object { // a folder that somebody copied or renamed
		return nil, nil, fmt.Errorf("%s: %s is of %s: %w", r.Name(), invKey, inv.ID, errNotCommitted)
	}
	return raw, inv, nil
}

// Settle makes what is derived from the highest committed version of an object
// agree with it: the object's 0= file and its root pair. A crash between commit
// and these leaves the copy unfinished, not damaged. On a drive, hold Lock.
func Settle(ctx context.Context, r Root, object string) (changed bool, err error) {
	_, raw, _, err := head(ctx, r, object)
	if err != nil {
		return false, err
	}
	return SettleTo(ctx, r, object, raw)
}

// SettleTo is Settle with the inventory of the highest committed version.
func SettleTo(ctx context.Context, r Root, object string, raw []byte) (changed bool, err error) {
	namaste := object + "/" + ObjectNamaste
	if _, err := r.Stat(ctx, namaste); errors.Is(err, fs.ErrNotExist) {
		if _, err := r.Create(ctx, namaste, Bytes(NamasteContent(ObjectNamaste))); err != nil {
			return false, err
		}
		changed = true
	} else if err != nil {
		return false, err
	}
	for _, part := range RootPair(object, raw) {
		now, was, err := ReadSmall(ctx, r, part.Key, MaxInventory)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			_, err = r.Replace(ctx, part.Key, Bytes(part.Bytes), nil)
		case err == nil && bytes.Equal(now, part.Bytes):
			continue
		case err == nil:
			_, err = r.Replace(ctx, part.Key, Bytes(part.Bytes), &was)
		}
		if err != nil {
			return changed, err
		}
		changed = true
	}
	return changed, nil
}

// KeyBytes is a small file: its key, and what it holds.
type KeyBytes struct {
	Key   string
	Bytes []byte
}

// RootPair is what stands at the top of an object, in the order it is written.
func RootPair(object string, inventory []byte) []KeyBytes {
	return []KeyBytes{
		{object + "/" + InventoryName, inventory},
		{object + "/" + SidecarName, manifest.Sidecar(inventory)},
	}
}

// NamasteContent is what a 0= file holds: its name without "0=" (OCFL 1.1
// sections 3.3 and 4.1).
func NamasteContent(name string) []byte { return []byte(name[2:] + "\n") }

// CheckCommit decodes the inventory about to be committed as version n of an
// object and returns the content paths that belong to that version.
func CheckCommit(inventory []byte, object string, n int) (map[string]manifest.Digest, error) {
	inv, err := manifest.DecodeInventory(inventory)
	if err != nil {
		return nil, fmt.Errorf("the inventory to be committed: %w", err)
	}
	if inv.Head() != n || inv.Slug() != object {
		return nil, fault.Say(ErrConflict, "the inventory to be committed is of version %d of %s, not %d of %s", inv.Head(), inv.ID, n, object)
	}
	return inv.Paths(n), nil
}
