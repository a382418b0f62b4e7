package drive

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/within"
)

// What a crash leaves on a drive, and who puts it right:
//
//	crash                            what is there                     repaired by
//	while content is staged          staging only                      Begin: used again if the bytes match
//	after the marker, before rename  staging and marker                Lock: marker removed; Begin as above
//	around the rename of vN          marker; vN absent, whole or torn  Lock: whole stays, torn goes to quarantine
//	before the root pair             marker; vN whole, old root pair   Lock: root pair written again
//	the same, in another order       marker; vN torn, new root pair    Lock: torn goes to quarantine, root pair back to N-1
//	before the marker is gone        marker; everything whole          Lock: marker removed
//
// The marker is needed because no rename is trusted to be atomic: it lists what
// was stored, so that a version which a crash may have torn is re-read, and one
// that was reported as kept never is touched. It is durable before the rename,
// and durably gone before Commit returns. Versions that give way have one too, see
// giveway.go.

const (
	quarantineFolder = "extensions/linecamp-quarantine"
	markerSuffix     = ".pending"
)

func markerName(object string, version int) string {
	return store.StagingFolder + "/" + object + "." + store.VersionName(version) + markerSuffix
}

// marker lists content as sha256sum does, relative to the object.
func marker(put map[string]manifest.Digest) []byte {
	var b bytes.Buffer
	for _, p := range slices.Sorted(maps.Keys(put)) {
		fmt.Fprintf(&b, "%s  %s\n", put[p], p)
	}
	return b.Bytes()
}

// readMarker reads it back; ok is false where it is torn, and then the rename
// it goes with was never begun.
func readMarker(b []byte) (put map[string]manifest.Digest, ok bool) {
	put = map[string]manifest.Digest{}
	if len(b) > 0 && b[len(b)-1] != '\n' {
		return nil, false
	}
	for s := bufio.NewScanner(bytes.NewReader(b)); s.Scan(); {
		digits, p, found := strings.Cut(s.Text(), "  ")
		d, err := manifest.ParseDigest(digits)
		if !found || err != nil {
			return nil, false
		}
		put[p] = d
	}
	return put, true
}

// The staging folder stands while anything is written, and goes when that is
// done and synced. Where it is found by the next Lock, a process ended in the
// middle. If it was killed and the machine went on, its last names and bytes are
// seen and look finished, and a power cut could still take them back: all is
// synced before anything is believed.

// recover runs under the lock and puts right what a crash left. With nothing
// left, it looks for one folder that is not there, and into those of linecamp's own.
func (d *Drive) recover(ctx context.Context) error {
	if err := d.tidyExtensions(ctx); err != nil {
		return err
	}
	there, err := d.exists(store.StagingFolder)
	if err != nil || !there {
		return err
	}
	names, err := d.names(store.StagingFolder)
	if err != nil {
		return err
	}
	if len(names) == 1 && names[0] == path.Base(lockFile) {
		return nil // where no folder can be locked, or synced
	}
	if err := d.syncEverything(ctx); err != nil {
		return d.fail("syncing", "", err)
	}
	var begun []string
	for _, name := range names {
		full := store.StagingFolder + "/" + name
		if strings.HasPrefix(name, tempPrefix) {
			if err := d.removeStaged(full); err != nil {
				return d.fail("clearing", full, err)
			}
			continue
		}
		if store.IsObjectName(name) {
			begun = append(begun, name)
			continue
		}
		suffix := path.Ext(name)
		object, v, _ := strings.Cut(strings.TrimSuffix(name, suffix), ".")
		version := store.VersionNumber(v)
		if version == 0 || !store.IsObjectName(object) {
			continue
		}
		switch suffix {
		case markerSuffix:
			err = d.recoverVersion(ctx, object, version, full)
		case leavingSuffix:
			err = d.recoverLeaving(ctx, object, version, full)
		default:
			continue
		}
		if errors.Is(err, errWaits) {
			continue
		}
		if err != nil {
			return err
		}
		if err := d.forgetMarker(full); err != nil {
			return err
		}
	}
	for _, object := range begun {
		if err := d.recoverStaged(ctx, object); err != nil {
			return err
		}
	}
	d.disk.Remove(store.StagingFolder)
	return nil
}

// tidyExtensions removes folders of linecamp's own that hold nothing: a power cut between
// the making of one and its first file leaves it, also where nothing else tells of it,
// and the standard wants no empty folder in a root (E073).
func (d *Drive) tidyExtensions(ctx context.Context) error {
	const extensions = "extensions"
	own, err := d.Folders(ctx, extensions)
	if err != nil {
		return err
	}
	for _, name := range own {
		folder := extensions + "/" + name
		if !strings.HasPrefix(name, "linecamp-") || folder == store.StagingFolder || folder == quarantineFolder {
			continue
		}
		below, err := d.Folders(ctx, folder)
		if err != nil {
			return err
		}
		for _, one := range below {
			if err := d.removeIfEmpty(folder + "/" + one); err != nil {
				return err
			}
		}
		if err := d.removeIfEmpty(folder); err != nil {
			return err
		}
	}
	return nil
}

func (d *Drive) removeIfEmpty(folder string) error {
	names, err := d.names(folder)
	if err != nil || len(names) > 0 {
		return err
	}
	if err := d.disk.Remove(folder); err != nil {
		return d.fail("clearing", folder, err)
	}
	return nil
}

// syncEverything makes all that is seen durable. Where the system cannot do that
// at once, the names in every folder are synced, and the one file that is written
// in its place; other files are synced before they are renamed, or by whoever
// uses them again.
func (d *Drive) syncEverything(ctx context.Context) error {
	if d.disk.SyncsAll() {
		return d.disk.SyncAll()
	}
	files, err := store.SealFiles(ctx, d)
	if err == nil && len(files) > 0 {
		err = d.syncFile(files[len(files)-1].Key)
	}
	if err != nil && !errors.Is(err, seal.ErrInvalid) {
		return err
	}
	return d.syncFolders(ctx, ".")
}

func (d *Drive) syncFile(name string) error {
	f, err := d.disk.Update(name)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// syncFolders syncs a folder and all below.
func (d *Drive) syncFolders(ctx context.Context, folder string) error {
	below, err := d.Folders(ctx, strings.TrimPrefix(folder, "."))
	if err != nil {
		return err
	}
	for _, name := range below {
		if err := d.syncFolders(ctx, path.Join(folder, name)); err != nil {
			return err
		}
	}
	return d.disk.SyncFolder(folder)
}

// recoverStaged keeps what is staged of an object only if it is the beginning
// of the version to come. Else it was renamed into place and is back under its
// old name, for a crash may undo that half of a rename alone.
func (d *Drive) recoverStaged(ctx context.Context, object string) error {
	n, err := store.HeadNumber(ctx, d, object)
	if err != nil {
		// What cannot be read hinders this site, when its turn comes, and not
		// whoever wants to mend it.
		return ctx.Err()
	}
	folder := store.StagingFolder + "/" + object
	if next, err := d.exists(folder + "/" + store.VersionName(n+1)); err != nil || next {
		return err
	}
	if err := d.removeStaged(folder); err != nil {
		return d.fail("clearing", folder, err)
	}
	return nil
}

// recoverVersion decides about a version whose commit may have been cut off.
func (d *Drive) recoverVersion(ctx context.Context, object string, version int, markerKey string) error {
	place := object + "/" + store.VersionName(version)
	there, err := d.exists(place)
	if err != nil {
		return err
	}
	if !there {
		return d.settleWithout(ctx, object)
	}
	raw, _, err := store.ReadSmall(ctx, d, markerKey, store.MaxInventory)
	if err != nil {
		return err
	}
	whole, err := d.whole(ctx, object, version, raw)
	if err != nil {
		return err
	}
	if !whole {
		if err := d.setAside(object, version); err != nil {
			return err
		}
		return d.settleWithout(ctx, object)
	}
	if _, err := store.Settle(ctx, d, object); err != nil {
		return err
	}
	return d.removeStaged(store.StagingFolder + "/" + object) // the root pair that was to come
}

// settleWithout settles an object after a version that is not there, or was set
// aside. The root pair may show that version all the same, where the drive wrote
// in another order than it was told to; so the versions themselves decide.
func (d *Drive) settleWithout(ctx context.Context, object string) error {
	_, raw, err := store.HeadByListing(ctx, d, object)
	if err == nil {
		_, err = store.SettleTo(ctx, d, object, raw)
		return err
	}
	return ctx.Err() // no version is left, or this site cannot be read: see recoverStaged
}

// whole reports whether a version is committed and holds all that was stored.
func (d *Drive) whole(ctx context.Context, object string, version int, rawMarker []byte) (bool, error) {
	if _, _, err := store.Committed(ctx, d, object, version); err != nil {
		if ctx.Err() != nil {
			return false, err
		}
		return false, nil
	}
	put, ok := readMarker(rawMarker)
	if !ok {
		return false, nil
	}
	for p, want := range put {
		_, info, err := store.DigestOf(ctx, d, object+"/"+p, false)
		if ctx.Err() != nil {
			return false, err
		}
		if err != nil || info.SHA256 != want {
			return false, nil
		}
	}
	return true, nil
}

// setAside moves a version that a crash tore out of its object; where it is
// the only one, the whole object.
func (d *Drive) setAside(object string, version int) error {
	versions, err := store.VersionsOf(context.Background(), d, object)
	if err != nil {
		return err
	}
	if len(versions) == 0 || (len(versions) == 1 && versions[0] == version) {
		return d.quarantine(object)
	}
	return d.quarantine(object + "/" + store.VersionName(version))
}

// GoBack has the root pair of an object show the newest version that is there,
// after those above it went from the drive. Where none is left, what remains of
// the folder goes to quarantine. A version that is there and whose manifest rotted
// is ErrDamaged, and nothing is moved: it is for mend. Hold Lock.
func (d *Drive) GoBack(ctx context.Context, object string) error {
	if err := store.CheckObject(object); err != nil {
		return err
	}
	inv, raw, err := store.HeadByListing(ctx, d, object)
	none := errors.Is(err, store.ErrNoObject)
	if err != nil && !none {
		return err
	}
	newest := 0
	if !none {
		newest = inv.Head()
	}
	if err := d.checkAbove(ctx, object, newest); err != nil {
		return err
	}
	if !none {
		_, err = store.SettleTo(ctx, d, object, raw)
		return err
	}
	if there, err := d.exists(object); err != nil || !there {
		return err
	}
	return d.quarantine(object)
}

// checkAbove refuses to take a committed version for an uncommitted one. What a
// crash left was put right under the lock, so a version above n that has its
// sidecar was committed once, and its manifest rotted since.
func (d *Drive) checkAbove(ctx context.Context, object string, n int) error {
	versions, err := store.VersionsOf(ctx, d, object)
	if err != nil {
		return err
	}
	for _, v := range versions {
		if v <= n {
			continue
		}
		there, err := d.exists(store.VersionFile(object, v, store.SidecarName))
		if err != nil {
			return err
		}
		if there {
			return fault.Say(store.ErrDamaged, "%s: the manifest of version %d of %s no longer reads; run `linecamp verify` and `linecamp mend` first", d.Name(), v, object)
		}
	}
	return nil
}

// clearWay moves what lies where version n+1 will go: an uncommitted version,
// or the folder of an object without any.
func (d *Drive) clearWay(object string, n int) error {
	place := object
	if n > 0 {
		place = store.VersionFile(object, n+1, "")
	}
	there, err := d.exists(place)
	if err != nil || !there {
		return err
	}
	return d.quarantine(place)
}

// quarantine moves a file or folder of the root to
// extensions/linecamp-quarantine/TIME/…, under its own key. Nothing there is
// ever removed by linecamp.
func (d *Drive) quarantine(key string) error {
	return d.moveAside(now(), key)
}

func now() string { return time.Now().UTC().Format("20060102T150405Z") }

// moveAside moves a key into a folder of quarantine, both synced.
func (d *Drive) moveAside(folder, key string) error {
	_, err := d.quarantineBy(folder, key, d.disk.Rename)
	if err == nil {
		err = d.syncFolder(path.Dir(key))
	}
	return err
}

// quarantineBy moves or links key into a folder of quarantine, or where its name is
// taken there, into FOLDER-2 and so on.
func (d *Drive) quarantineBy(folder, key string, move func(from, to string) error) (string, error) {
	folder = quarantineFolder + "/" + folder
	for i := 1; ; i++ {
		to := folder + "/" + key
		if i > 1 {
			to = folder + "-" + strconv.Itoa(i) + "/" + key
		}
		if taken, err := d.exists(to); err != nil {
			return "", err
		} else if taken {
			continue
		}
		err := d.within(path.Dir(to), durable, func() error { return move(key, to) })
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil {
			return "", d.fail("setting aside", key, err)
		}
		return to, d.syncFolder(path.Dir(to))
	}
}

// ForgetBegun removes what is staged of versions that were begun and will not be
// made: the files changed or went before the next try. Hold Lock, with no Build
// open.
func (d *Drive) ForgetBegun() error {
	there, err := d.exists(store.StagingFolder)
	if err != nil || !there {
		return err
	}
	names, err := d.names(store.StagingFolder)
	if err != nil {
		return err
	}
	for _, name := range names {
		if !store.IsObjectName(name) {
			continue
		}
		if err := d.removeStaged(store.StagingFolder + "/" + name); err != nil {
			return d.fail("clearing", store.StagingFolder+"/"+name, err)
		}
	}
	d.disk.Remove(store.StagingFolder)
	return nil
}

// removeStaged removes a file or folder below staging; nothing there is fine.
func (d *Drive) removeStaged(name string) error {
	if !within.Below(name, store.StagingFolder) {
		return fmt.Errorf("%s is not in staging", name)
	}
	err := d.disk.Remove(name)
	if err == nil || errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if st, serr := d.root.Lstat(name); serr == nil && st.IsDir() {
		return d.removeAll(name)
	}
	return err
}

// removeEmpty removes the folders below and including one of staging that hold
// nothing.
func (d *Drive) removeEmpty(folder string) {
	entries, err := d.entries(context.Background(), folder)
	if err != nil {
		return
	}
	for _, e := range entries {
		if e.IsDir() {
			d.removeEmpty(folder + "/" + e.Name())
		}
	}
	d.disk.Remove(folder)
}
