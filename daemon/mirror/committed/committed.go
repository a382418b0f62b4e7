// Package committed tells what of an object a copy has committed, whatever this computer
// remembers: [IsSealed] whether one version there is the archive's, and [Look] whether
// one is there at all.
package committed

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/store"
)

// ErrOther: the copy's version is not the one the seal names.
var ErrOther = errors.New("its versions there are not the sealed ones")

// IsSealed checks that version n of slug on a copy is the one the seal names,
// by the digest its sidecar states. Another one is ErrOther if it agrees with
// itself, and else rot: store.ErrDamaged.
func IsSealed(ctx context.Context, root store.Root, slug string, n int, want manifest.Digest) error {
	folder := fmt.Sprintf("%s/v%d/", slug, n)
	side, _, err := store.ReadSmall(ctx, root, folder+"inventory.json.sha256", 4096)
	if err != nil {
		return fmt.Errorf("reading version %d of %s: %w", n, slug, err)
	}
	hex, _, _ := strings.Cut(string(side), " ")
	if got, err := manifest.ParseDigest(hex); err == nil && got == want {
		return nil
	}
	inv, _, err := store.ReadSmall(ctx, root, folder+"inventory.json", manifest.MaxInventory)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("reading version %d of %s: %w", n, slug, err)
	}
	if err == nil && manifest.CheckSidecar(inv, side) == nil {
		return ErrOther
	}
	return fmt.Errorf("version %d of %s: %w", n, slug, store.ErrDamaged)
}

// Look returns the newest inventory of slug on a copy where version n of it
// is committed, and nil where it is not there. The error is for a copy that
// cannot tell.
func Look(ctx context.Context, root store.Root, copyID, slug string, n int) (*manifest.Inventory, error) {
	id, err := root.Identity(ctx)
	if err != nil {
		return nil, err
	}
	if id.CopyID != copyID {
		return nil, store.ErrOtherRoot
	}
	_, err = root.Stat(ctx, fmt.Sprintf("%s/v%d/inventory.json.sha256", slug, n))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	inv, err := store.Head(ctx, root, slug)
	if err == nil && inv.Head() < n {
		err = store.ErrDamaged
	}
	return inv, err
}
