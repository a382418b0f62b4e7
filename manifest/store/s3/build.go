package s3

import (
	"context"
	"crypto/md5"
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"golang.org/x/sync/errgroup"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// build is one version on its way into a bucket. There is nothing to stage:
// content goes to its final key at once, and nobody looks at it before the
// version's sidecar is there.
type build struct {
	s       *Bucket
	object  string
	version int
	found   map[string]store.Info
	unsaid  *store.Info // a vN/inventory.json left by a try that did not commit
}

// Begin lists what an earlier try may have stored. One listing, whatever the object's
// size: it starts where the sidecar of the version before is, which has to be there.
func (s *Bucket) Begin(ctx context.Context, object string, version int) (store.Build, error) {
	if err := store.CheckObject(object); err != nil {
		return nil, err
	}
	if version < 1 {
		return nil, store.CheckNext(s, object, 0, version)
	}
	b := &build{s: s, object: object, version: version, found: map[string]store.Info{}}
	is, was := store.VersionName(version), store.VersionName(version-1)
	below, after, goesOn := s.below(object), "", version == 1
	if goesOn || version%10 == 0 { // v9 comes behind v10, and v2 between v19 and v20
		below += is + "/"
	} else {
		below, after = below+is[:len(is)-1], below+was+"/"+store.InventoryName
	}
	for info, err := range s.list(ctx, below, after) {
		if err != nil {
			return nil, err
		}
		p := strings.TrimPrefix(info.Key, object+"/")
		switch p {
		case was + "/" + store.SidecarName:
			goesOn = true
		case is + "/" + store.SidecarName:
			return nil, store.CheckNext(s, object, version, version)
		case is + "/" + store.InventoryName:
			b.unsaid = &info
		default:
			// What lies beside the content is a stray, and so is a key that leads
			// elsewhere: no inventory can name them.
			if store.CheckContentPath(p, version) == nil {
				b.found[p] = info
			}
		}
	}
	if !goesOn {
		_, err := s.Stat(ctx, object+"/"+was+"/"+store.SidecarName)
		if errors.Is(err, fs.ErrNotExist) {
			return nil, fault.Say(store.ErrConflict, "%s does not hold version %d of %s, so version %d cannot come next", s.Name(), version-1, object, version)
		}
		if err != nil {
			return nil, err
		}
	}
	return b, b.digestFound(ctx)
}

// digestFound learns the true digests of what was found: what the service
// reports as checked, or by reading.
func (b *build) digestFound(ctx context.Context) error {
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(8)
	infos := make(chan store.Info, len(b.found))
	for _, f := range b.found {
		g.Go(func() error {
			info, err := b.s.Stat(ctx, f.Key)
			if err == nil && info.SHA256.IsZero() {
				info, err = b.s.readDigest(ctx, f.Key)
			}
			infos <- info
			return err
		})
	}
	err := g.Wait()
	close(infos)
	for info := range infos {
		if info.Key != "" {
			b.found[strings.TrimPrefix(info.Key, b.object+"/")] = info
		}
	}
	return err
}

func (b *build) Found() map[string]store.Info { return b.found }
func (b *build) Close() error                 { return nil }

func (b *build) Put(ctx context.Context, p string, c store.Content) (store.Info, error) {
	if err := store.CheckContentPath(p, b.version); err != nil {
		return store.Info{}, err
	}
	key := b.object + "/" + p
	if f, ok := b.found[p]; ok {
		if f.SHA256 == c.SHA256 {
			b.s.forget(key) // of its upload the last answer was lost, it may be
			return f, nil
		}
		return store.Info{}, b.s.conflict(key)
	}
	return b.s.put(ctx, key, c, condition{absent: true})
}

func (b *build) Commit(ctx context.Context, inventory []byte) error {
	paths, err := store.CheckCommit(inventory, b.object, b.version)
	if err != nil {
		return err
	}
	// The author's draft names what was found; what no inventory can name (see
	// manifest.Draft) stays beside it as a stray.
	for p, f := range b.found {
		if want, named := paths[p]; named && want != f.SHA256 {
			return fault.Say(store.ErrConflict, "%s: %s/%s was stored by an earlier try with other bytes than the inventory names", b.s.Name(), b.object, p)
		}
	}
	stored, err := b.putInventory(ctx, inventory)
	if err != nil {
		return err
	}
	sidecar := store.Bytes(manifest.Sidecar(inventory))
	if _, err := b.s.Create(ctx, store.VersionFile(b.object, b.version, store.SidecarName), sidecar); err != nil {
		return err
	}
	// Committed. What follows is derived, and Settle can make it again.
	if b.version == 1 {
		if _, err := b.s.Create(ctx, b.object+"/"+store.ObjectNamaste, store.Bytes(store.NamasteContent(store.ObjectNamaste))); err != nil {
			return err
		}
	}
	before, known := b.rootBefore(inventory, stored)
	for i, part := range store.RootPair(b.object, inventory) {
		err := error(store.ErrConflict)
		if known {
			err = b.putRoot(ctx, part, before[i], stored)
		}
		if errors.Is(err, store.ErrConflict) {
			err = b.replaceRoot(ctx, part, stored)
		}
		if err != nil {
			return err
		}
	}
	// Last: it may take its time. Where the root pair failed, the site's next commit does it.
	b.s.EndUploads(ctx, func(object string, n int) bool { return object == b.object && n <= b.version })
	return nil
}

// rootBefore is what the root pair is replaced against without a look at it, nil for
// nothing: the pair of the version before, by the ETags that its bytes have where the
// service makes them of the bytes, as it did of the inventory it has just stored.
func (b *build) rootBefore(inventory []byte, stored store.Info) (before [2]*store.Info, known bool) {
	if b.version == 1 {
		return before, true
	}
	inv, err := manifest.DecodeInventory(inventory)
	if err != nil || !b.s.fence || unquoted(stored.ETag) != ofBytes(inventory) {
		return before, false
	}
	for i, part := range store.RootPair(b.object, inv.Until(b.version-1).Encode()) {
		before[i] = &store.Info{ETag: ofBytes(part.Bytes)}
	}
	return before, true
}

// ofBytes is the ETag that most services give a body that was stored by one PUT.
func ofBytes(b []byte) string { return fmt.Sprintf("%x", md5.Sum(b)) }

// putRoot puts one of the root pair in the place of what was there, nil for nothing.
func (b *build) putRoot(ctx context.Context, part store.KeyBytes, was *store.Info, stored store.Info) error {
	if part.Key == b.object+"/"+store.InventoryName && b.s.copied(ctx, stored, part.Key, was) {
		return nil
	}
	_, err := b.s.Replace(ctx, part.Key, store.Bytes(part.Bytes), was)
	return err
}

// replaceRoot looks at what is there first: an unfinished pair, one that rotted, or the
// one that was left of a version that went from the bucket.
func (b *build) replaceRoot(ctx context.Context, part store.KeyBytes, stored store.Info) error {
	now, err := b.s.Stat(ctx, part.Key)
	if errors.Is(err, fs.ErrNotExist) {
		return b.putRoot(ctx, part, nil, stored)
	}
	if err != nil {
		return err
	}
	return b.putRoot(ctx, part, &now, stored)
}

// putInventory stores vN/inventory.json. One that an earlier try left is of a
// version that never was, for its sidecar is absent; it is the one version file
// that may be replaced, against exactly what was found.
func (b *build) putInventory(ctx context.Context, inventory []byte) (store.Info, error) {
	key := store.VersionFile(b.object, b.version, store.InventoryName)
	if b.unsaid == nil {
		return b.s.Create(ctx, key, store.Bytes(inventory))
	}
	return b.s.Replace(ctx, key, store.Bytes(inventory), b.unsaid)
}
