// Package drive keeps a copy in a folder on a drive. [Open] opens one that setup
// made, [New] a folder for setup, [Find] looks for a drive that is mounted
// elsewhere than it was; what they return is a [store.Root].
//
// A version is built in extensions/linecamp-staging, made durable, and renamed
// into its place as one folder ([Drive.Begin], build.go). Whoever takes the lock
// first puts right what a crash left ([Drive.Lock], recover.go).
package drive

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// Drive is a root in a folder on a drive. Every access goes through os.Root,
// opened once: if the drive goes away, or another is mounted over it, nothing
// is ever written to whatever stands at the path then.
type Drive struct {
	path string
	root *os.Root
	dir  *os.File
	disk Disk
	most int64 // bytes of the largest file it can hold; 0 for no limit
}

var _ store.Placed = (*Drive)(nil)

// Open opens the copy in a folder. copyID is the copy it must be, "" for
// any. It never creates anything: a folder that is missing, or that is the
// empty place where a drive would be mounted, is ErrNotHere; a folder with
// other things in it ErrNoRoot; another copy ErrOtherRoot.
func Open(folder, copyID string) (*Drive, error) {
	d, err := openFolder(folder)
	if err != nil {
		return nil, err
	}
	if err := d.expect(copyID); err != nil {
		d.Close()
		return nil, err
	}
	return d, nil
}

// New opens a folder for setup, before Init. The folder is made if only it
// is missing; the folder it stands in must exist. Where the system's table of
// mounts has a drive at or above it that is not mounted now, it is ErrNotHere.
func New(folder string) (*Drive, error) {
	if place, ok := unmounted(folder); ok {
		return nil, fault.Say(store.ErrNotHere, "%s belongs to the drive that is mounted at %s, and nothing is mounted there now. Plug it in and mount it first; nothing was made on the disk below", manifest.Printable(folder), manifest.Printable(place))
	}
	if err := os.Mkdir(folder, 0o777); err != nil && !errors.Is(err, fs.ErrExist) {
		if errors.Is(err, fs.ErrNotExist) {
			return nil, fault.Say(store.ErrNotHere, "%s cannot be made, because %s is not there. Plug in the drive, or make that folder first", manifest.Printable(folder), manifest.Printable(filepath.Dir(folder)))
		}
		return nil, driveError(folder, "making the folder", "", err)
	}
	return openFolder(folder)
}

func openFolder(folder string) (*Drive, error) {
	info, err := os.Stat(folder)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fault.Say(store.ErrNotHere, "%s is not there. Is the drive plugged in?", manifest.Printable(folder))
	case err != nil:
		return nil, driveError(folder, "looking at it", "", err)
	case !info.IsDir():
		return nil, fault.Say(store.ErrNotAFolder, "%s is a file; a copy needs a folder", manifest.Printable(folder))
	}
	root, err := os.OpenRoot(folder)
	if err != nil {
		return nil, driveError(folder, "opening it", "", err)
	}
	dir, err := root.Open(".")
	if err != nil {
		root.Close()
		return nil, driveError(folder, "opening it", "", err)
	}
	d := &Drive{path: folder, root: root, dir: dir, most: LargestFile(dir)}
	d.disk = rootDisk{root, dir, SyncfsLasts(dir)}
	return d, nil
}

// Largest is the largest file that the drive can hold, in bytes; 0 where there is
// no limit that a photo could reach, or none is known.
func (d *Drive) Largest() int64 { return d.most }

// expect checks that this is the copy it should be.
func (d *Drive) expect(copyID string) error {
	id, err := d.Identity(context.Background())
	if errors.Is(err, store.ErrNoRoot) {
		if names, rerr := d.names("."); rerr == nil && len(names) == 0 {
			return fault.Say(store.ErrNotHere, "%s is an empty folder. Is the drive plugged in and mounted there? Nothing was written to it", d.Name())
		}
	}
	if err != nil {
		return err
	}
	if copyID != "" && id.CopyID != copyID {
		return fault.Say(store.ErrOtherRoot, "%s holds another copy than the one expected, %s. Another drive may be mounted there; nothing was written to it", d.Name(), copyID)
	}
	return nil
}

// WrapDisk puts w around everything that changes this drive's file system. It
// is for tests that watch or break each operation.
func (d *Drive) WrapDisk(w func(Disk) Disk) { d.disk = w(d.disk) }

func (d *Drive) Name() string { return manifest.Printable(d.path) }

// Can is what every drive can do.
var Can = store.Abilities{Kind: "drive", OCFL: true, HoldsFirst: true, Local: true, Staged: true, GivesWay: true}

func (d *Drive) Can() store.Abilities { return Can }

// Folder is the drive's folder as the system knows it.
func (d *Drive) Folder() string { return d.path }

func (d *Drive) Close() error { return errors.Join(d.dir.Close(), d.root.Close()) }

func (d *Drive) Identity(ctx context.Context) (store.Identity, error) {
	return store.ReadIdentity(ctx, d)
}

func (d *Drive) Init(ctx context.Context, id store.Identity) error {
	unlock, err := d.Lock(ctx)
	if err != nil {
		return err
	}
	defer unlock()
	return store.InitRoot(ctx, d, id)
}

// lockFile stands in for the root's folder where a folder cannot be locked
// (Windows), while a round runs.
const lockFile = store.StagingFolder + "/in-use.lock"

// Lock excludes every other process from writing, and puts right what one that
// crashed left half done.
func (d *Drive) Lock(ctx context.Context) (unlock func(), err error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	unlock, err = lockRoot(d.root)
	if errors.Is(err, store.ErrBusy) {
		return nil, fault.Say(store.ErrBusy, "%s: another linecamp is writing to it; try again when that has finished", d.Name())
	}
	if err != nil {
		return nil, d.fail("locking it", "", err)
	}
	if err := d.recover(ctx); err != nil {
		unlock()
		return nil, err
	}
	return unlock, nil
}

func (d *Drive) Open(ctx context.Context, key string) (io.ReadCloser, store.Info, error) {
	f, info, err := d.open(ctx, key)
	if err != nil {
		return nil, store.Info{}, err
	}
	return f, info, nil
}

func (d *Drive) OpenFresh(ctx context.Context, key string) (io.ReadCloser, store.Info, error) {
	f, info, err := d.open(ctx, key)
	if err != nil {
		return nil, store.Info{}, err
	}
	return openFresh(f), info, nil
}

func (d *Drive) open(ctx context.Context, key string) (*os.File, store.Info, error) {
	if err := errors.Join(ctx.Err(), store.CheckKey(key)); err != nil {
		return nil, store.Info{}, err
	}
	f, err := d.root.OpenFile(key, openFlags, 0)
	if err != nil {
		return nil, store.Info{}, d.fail("opening", key, err)
	}
	st, err := f.Stat()
	if err == nil {
		err = plainFile(st)
	}
	if err != nil {
		f.Close()
		return nil, store.Info{}, d.fail("opening", key, err)
	}
	return f, store.Info{Key: key, Size: st.Size(), Modified: st.ModTime()}, nil
}

func (d *Drive) Stat(ctx context.Context, key string) (store.Info, error) {
	if err := errors.Join(ctx.Err(), store.CheckKey(key)); err != nil {
		return store.Info{}, err
	}
	st, err := d.root.Lstat(key)
	if err == nil {
		err = plainFile(st)
	}
	if err != nil {
		return store.Info{}, d.fail("looking at", key, err)
	}
	return store.Info{Key: key, Size: st.Size(), Modified: st.ModTime()}, nil
}

// plainFile accepts ordinary files only: a folder holds no bytes, so nothing
// exists under its key, and a link or a device is never read.
func plainFile(st fs.FileInfo) error {
	switch {
	case st.Mode().IsRegular():
		return nil
	case st.IsDir():
		return fs.ErrNotExist
	}
	return fmt.Errorf("it is not an ordinary file (%v)", st.Mode().Type())
}

func (d *Drive) Folders(ctx context.Context, prefix string) ([]string, error) {
	entries, err := d.entries(ctx, prefix)
	if err != nil {
		return nil, err
	}
	var names []string
	for _, e := range entries {
		if e.IsDir() {
			names = append(names, e.Name())
		}
	}
	slices.Sort(names)
	return names, nil
}

func (d *Drive) List(ctx context.Context, prefix string) iter.Seq2[store.Info, error] {
	return func(yield func(store.Info, error) bool) { d.list(ctx, prefix, yield) }
}

// list yields the files below a folder and reports whether to go on. In byte
// order of whole keys "a.jpg" comes before "a/b.jpg", so folders are sorted as
// if their names ended in the slash.
func (d *Drive) list(ctx context.Context, folder string, yield func(store.Info, error) bool) bool {
	if len(folder) > longestKey {
		yield(store.Info{}, fmt.Errorf("%s: the folders in %s lie too deep one in the other to be listed", d.path, store.Clip(folder)))
		return false
	}
	entries, err := d.entries(ctx, folder)
	if errors.Is(err, fs.ErrPermission) && store.MadeBySystem(folder) {
		return true // lost+found and the like, which may be root's
	}
	if err != nil {
		yield(store.Info{}, err)
		return false
	}
	slices.SortFunc(entries, func(a, b fs.DirEntry) int { return strings.Compare(sortName(a), sortName(b)) })
	for _, e := range entries {
		key := path.Join(folder, e.Name())
		if e.IsDir() {
			if !d.list(ctx, key, yield) {
				return false
			}
			continue
		}
		st, err := e.Info()
		if errors.Is(err, fs.ErrNotExist) {
			continue // went away since
		}
		if err != nil {
			yield(store.Info{}, d.fail("looking at", key, err))
			return false
		}
		if !yield(store.Info{Key: key, Size: st.Size(), Modified: st.ModTime()}, nil) {
			return false
		}
	}
	return true
}

// longestKey is more than any key of ours: no system opens a longer path.
const longestKey = 4096

func sortName(e fs.DirEntry) string {
	if e.IsDir() {
		return e.Name() + "/"
	}
	return e.Name()
}

// entries reads a folder; one that does not exist has none.
func (d *Drive) entries(ctx context.Context, folder string) ([]fs.DirEntry, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if folder == "" {
		folder = "."
	} else if err := store.CheckKey(folder); err != nil {
		return nil, err
	}
	f, err := d.root.OpenFile(folder, openFlags, 0)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, d.fail("listing", folder, err)
	}
	defer f.Close()
	if st, err := f.Stat(); err == nil && !st.IsDir() {
		return nil, nil
	}
	entries, err := f.ReadDir(-1)
	if err != nil {
		return nil, d.fail("listing", folder, err)
	}
	return entries, nil
}

// names are the names in a folder.
func (d *Drive) names(folder string) ([]string, error) {
	if folder == "." {
		folder = ""
	}
	entries, err := d.entries(context.Background(), folder)
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	slices.Sort(names)
	return names, err
}

// exists reports whether anything at all has this name.
func (d *Drive) exists(name string) (bool, error) {
	_, err := d.root.Lstat(name)
	if err == nil {
		return true, nil
	}
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	return false, d.fail("looking at", name, err)
}

// holds reports whether key has exactly these bytes.
func (d *Drive) holds(ctx context.Context, key string, want manifest.Digest, size int64) (store.Info, bool, error) {
	info, err := d.Stat(ctx, key)
	if err != nil || info.Size != size {
		return info, false, err
	}
	_, info, err = store.DigestOf(ctx, d, key, false)
	return info, err == nil && info.SHA256 == want, err
}
