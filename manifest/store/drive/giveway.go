package drive

import (
	"context"
	"errors"
	"io/fs"
	"path"
	"slices"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// Versions of another history give way to the archive's, and so does one that was made
// elsewhere before it came up here. From the first on that the
// archive has otherwise, they go to extensions/linecamp-quarantine/late-D8/OBJECT/vN,
// with every byte; D8 begins the digest of the version's manifest. Where not even the
// first version is common, the object's whole folder goes to late-D8/OBJECT.
//
//	step                           a reader sees           after a crash here
//	1 what gives way, in a marker  the newest of them      Lock: from step 2 on
//	2 the root pair of N-1         the newest of them      Lock: again
//	3 each moved, from the top     those still there       Lock: goes on; what is torn goes, too, under another name
//	4 the marker removed           version N-1             Lock: again
//
// From step 2 on the pair at the top names only what stays, so whoever checks the
// object by hand finds it whole all the time.

const leavingSuffix = ".leaving"

// errWaits is for what a crash left and Lock cannot put right now.
var errWaits = errors.New("it waits for a mend")

// GiveWay moves the versions of an object from one on out of the way. The caller knows
// that the archive has every byte of them elsewhere, or that nobody was ever told that
// they are kept here: the quarantine keeps them in either case. Where nothing is there to be moved,
// nothing is done; where the version below does not read, it is ErrDamaged. Hold Lock.
func (d *Drive) GiveWay(ctx context.Context, object string, from int) error {
	if err := store.CheckObject(object); err != nil {
		return err
	}
	leaving, err := d.leaving(ctx, object, from)
	if err != nil || len(leaving) == 0 {
		return err
	}
	if err := d.checkBelow(ctx, object, from); err != nil {
		return err
	}
	name := store.StagingFolder + "/" + object + "." + store.VersionName(from) + leavingSuffix
	if err := d.removeStaged(name); err != nil { // of a try that failed here
		return d.fail("clearing", name, err)
	}
	if _, err := d.Create(ctx, name, store.Bytes(marker(leaving))); err != nil {
		return err
	}
	if err := d.syncFolder(path.Dir(store.StagingFolder)); err != nil {
		return err
	}
	if err := d.leave(ctx, object, from, leaving); err != nil {
		return err
	}
	err = d.forgetMarker(name)
	d.disk.Remove(store.StagingFolder)
	return err
}

// leaving lists the manifests of the versions from one on, committed or not, whatever
// they say. One without a manifest is listed with the digest of nothing.
func (d *Drive) leaving(ctx context.Context, object string, from int) (map[string]manifest.Digest, error) {
	versions, err := store.VersionsOf(ctx, d, object)
	if err != nil {
		return nil, err
	}
	list := map[string]manifest.Digest{}
	for _, n := range versions {
		if n < from {
			continue
		}
		s, _, err := store.DigestOf(ctx, d, object+"/"+listed(n), false)
		if errors.Is(err, fs.ErrNotExist) {
			s.SHA256, err = manifest.Sum(nil), nil
		}
		if err != nil {
			return nil, err
		}
		list[listed(n)] = s.SHA256
	}
	return list, nil
}

// checkBelow wants the version that stays on top to be whole.
func (d *Drive) checkBelow(ctx context.Context, object string, from int) error {
	if from == 1 {
		return nil
	}
	if _, _, err := store.Committed(ctx, d, object, from-1); err != nil {
		if ctx.Err() != nil {
			return err
		}
		return fault.Say(store.ErrDamaged, "%s: the manifest of version %d of %s does not read; run `linecamp verify` and `linecamp mend` first", d.Name(), from-1, object)
	}
	return nil
}

// leave is steps 2 and 3. Where another version is committed under one of the numbers, it
// came since, and all stays.
func (d *Drive) leave(ctx context.Context, object string, from int, leaving map[string]manifest.Digest) error {
	versions, err := store.VersionsOf(ctx, d, object)
	if err != nil {
		return err
	}
	versions = slices.DeleteFunc(versions, func(n int) bool { return n < from })
	for _, n := range versions {
		raw, _, err := store.Committed(ctx, d, object, n)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err == nil && manifest.Sum(raw) != leaving[listed(n)] {
			return nil
		}
	}
	if from == 1 {
		top := 0
		for p := range leaving {
			top = max(top, store.VersionNumber(path.Dir(p)))
		}
		there, err := d.exists(object)
		if err != nil || !there {
			return err
		}
		return d.moveAside(late(leaving, top), object)
	}
	raw, _, err := store.Committed(ctx, d, object, from-1)
	if err != nil {
		return err
	}
	if _, err := store.SettleTo(ctx, d, object, raw); err != nil {
		return err
	}
	for _, n := range slices.Backward(versions) {
		if err := d.moveAside(late(leaving, n), store.VersionFile(object, n, "")); err != nil {
			return err
		}
	}
	return nil
}

// listed is how a marker names the manifest of version n.
func listed(n int) string { return store.VersionName(n) + "/" + store.InventoryName }

// late is the folder in quarantine of a version that gave way.
func late(leaving map[string]manifest.Digest, n int) string {
	return "late-" + leaving[listed(n)].String()[:8]
}

// recoverLeaving goes on where a crash left versions half way out.
func (d *Drive) recoverLeaving(ctx context.Context, object string, from int, markerKey string) error {
	raw, _, err := store.ReadSmall(ctx, d, markerKey, store.MaxInventory)
	if err != nil {
		return err
	}
	leaving, ok := readMarker(raw)
	if !ok {
		return nil // it rotted, and whoever asked asks again
	}
	if err := d.checkBelow(ctx, object, from); err != nil {
		return errors.Join(ctx.Err(), errWaits)
	}
	return d.leave(ctx, object, from, leaving)
}

// forgetMarker removes a marker, and syncs that.
func (d *Drive) forgetMarker(name string) error {
	if err := d.disk.Remove(name); err != nil {
		return d.fail("clearing", name, err)
	}
	return d.syncFolder(store.StagingFolder)
}
