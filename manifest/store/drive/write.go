package drive

import (
	"context"
	"crypto/rand"
	"errors"
	"io"
	"io/fs"
	"os"
	"path"

	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/wholefile"
)

// tempPrefix begins the names of files that Create and Replace stage; no object
// is called so, and what a crash left of them is removed by the next Lock.
const tempPrefix = "new."

// Create puts a small file where nothing is: written in staging, synced, then
// given its name in one step that never replaces.
func (d *Drive) Create(ctx context.Context, key string, c store.Content) (store.Info, error) {
	if err := errors.Join(ctx.Err(), store.CheckKey(key)); err != nil {
		return store.Info{}, err
	}
	if info, same, err := d.already(ctx, key, c); err != nil || same {
		return info, err
	}
	temp, info, err := d.stage(ctx, key, c)
	if err != nil {
		return store.Info{}, err
	}
	defer d.unstage(temp)
	err = d.within(path.Dir(key), durable, func() error { return d.link(temp, key) })
	if errors.Is(err, fs.ErrExist) {
		if info, same, err := d.already(ctx, key, c); err != nil || same {
			return info, err
		}
	}
	if err != nil {
		return store.Info{}, d.fail("writing", key, err)
	}
	return info, d.syncFolder(path.Dir(key))
}

// already reports whether key holds exactly c; other bytes there are
// ErrConflict.
func (d *Drive) already(ctx context.Context, key string, c store.Content) (store.Info, bool, error) {
	there, err := d.exists(key)
	if err != nil || !there {
		return store.Info{}, false, err
	}
	info, same, err := d.holds(ctx, key, c.SHA256, c.Size)
	if err == nil && !same {
		err = fault.Say(store.ErrConflict, "%s: %s is there already, with other bytes; it was left as it is", d.Name(), key)
	}
	return info, same, err
}

// Replace puts c where was is, in one rename. The lock of the drive is what
// keeps others out between the look and the rename.
func (d *Drive) Replace(ctx context.Context, key string, c store.Content, was *store.Info) (store.Info, error) {
	if was == nil {
		return d.Create(ctx, key, c)
	}
	if err := errors.Join(ctx.Err(), store.CheckKey(key)); err != nil {
		return store.Info{}, err
	}
	same, err := d.unchanged(ctx, key, *was)
	if err != nil {
		return store.Info{}, err
	}
	if !same {
		if info, same, err := d.holds(ctx, key, c.SHA256, c.Size); err == nil && same {
			return info, nil
		}
		return store.Info{}, fault.Say(store.ErrConflict, "%s: %s was changed meanwhile by something else; it was left as it is", d.Name(), key)
	}
	temp, info, err := d.stage(ctx, key, c)
	if err != nil {
		return store.Info{}, err
	}
	defer d.unstage(temp)
	if err := d.disk.Rename(temp, key); err != nil {
		return store.Info{}, d.fail("writing", key, err)
	}
	return info, d.syncFolder(path.Dir(key))
}

// unchanged reports whether key still is what was describes.
func (d *Drive) unchanged(ctx context.Context, key string, was store.Info) (bool, error) {
	now, err := d.Stat(ctx, key)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	if now.Size != was.Size || (!was.Modified.IsZero() && !now.Modified.Equal(was.Modified)) {
		return false, nil
	}
	if was.SHA256.IsZero() {
		return true, nil
	}
	_, now, err = store.DigestOf(ctx, d, key, false)
	return err == nil && now.SHA256 == was.SHA256, err
}

// stage writes c into a new file in staging, and syncs it.
func (d *Drive) stage(ctx context.Context, key string, c store.Content) (temp string, info store.Info, err error) {
	temp = store.StagingFolder + "/" + tempPrefix + rand.Text()
	s, err := d.write(ctx, temp, c, true)
	if err != nil {
		d.unstage(temp)
		return "", store.Info{}, d.fail("writing", key, err)
	}
	st, err := d.root.Lstat(temp)
	if err != nil {
		d.unstage(temp)
		return "", store.Info{}, d.fail("writing", key, err)
	}
	return temp, store.Info{Key: key, Size: s.Size, Modified: st.ModTime(), SHA256: s.SHA256, XXH64: s.XXH64}, nil
}

// beginWriting leaves an empty file in staging while something is written in its
// place, so that the next Lock sees that it did not end.
func (d *Drive) beginWriting() (temp string, err error) {
	temp = store.StagingFolder + "/" + tempPrefix + rand.Text()
	err = d.within(store.StagingFolder, private, func() error {
		f, err := d.disk.Create(temp)
		if err != nil {
			return err
		}
		return f.Close()
	})
	return temp, err
}

// unstage removes a file from staging if it is still there, and the staging
// folder when that was all of it.
func (d *Drive) unstage(temp string) {
	d.disk.Remove(temp)
	d.disk.Remove(store.StagingFolder)
}

// write makes a new file of c in staging. Where the bytes do not turn out as c says, the
// file is removed again.
func (d *Drive) write(ctx context.Context, name string, c store.Content, sync bool) (s store.Sums, err error) {
	var f File
	err = d.within(path.Dir(name), private, func() (err error) {
		f, err = d.disk.Create(name)
		return err
	})
	if err != nil {
		return s, err
	}
	s, err = store.CopyContent(ctx, f, c)
	if err == nil && sync {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		d.disk.Remove(name)
	}
	return s, err
}

// link gives a staged file its name, where nothing may be. Where a file system has
// no links (FAT), the lock of the drive makes a look and a rename as good.
func (d *Drive) link(temp, key string) error {
	return wholefile.Name(naming{d.disk, d.root}, temp, key)
}

// naming is the drive as wholefile sees it.
type naming struct {
	Disk
	root *os.Root
}

func (n naming) Lstat(name string) (fs.FileInfo, error) { return n.root.Lstat(name) }

// What a folder made on the way is for: one in the root must not be lost again
// by a crash, one in staging may.
type made bool

const (
	durable made = true
	private made = false
)

// within runs do, and if the folder it needs is missing, makes the folder and
// runs it again. Another goroutine may be removing an empty staging folder at
// the same time, so this is tried a few times.
func (d *Drive) within(folder string, as made, do func() error) error {
	var err error
	for range 5 {
		if err = do(); !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		if merr := d.mkdirAll(folder, as); merr != nil && !errors.Is(merr, fs.ErrNotExist) {
			return merr
		}
	}
	return err
}

// mkdirAll makes a folder and those above it.
func (d *Drive) mkdirAll(folder string, as made) error {
	if folder == "." {
		return nil
	}
	err := d.disk.Mkdir(folder)
	if errors.Is(err, fs.ErrNotExist) {
		if err = d.mkdirAll(path.Dir(folder), as); err == nil {
			err = d.disk.Mkdir(folder)
		}
	}
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	if err == nil && as == durable {
		err = d.disk.SyncFolder(path.Dir(folder))
	}
	return err
}

func (d *Drive) syncFolder(folder string) error {
	if err := d.disk.SyncFolder(folder); err != nil {
		return d.fail("syncing", folder, err)
	}
	return nil
}

// AppendAt adds b to key behind its first at bytes, which stand as they are. It
// writes in place, so that no crash can endanger the lines before. What stands
// there already, a line cut short, is written over, and cut off only where it is
// longer: at no moment does the file have less than before.
func (d *Drive) AppendAt(ctx context.Context, key string, at int64, b []byte) error {
	if err := errors.Join(ctx.Err(), store.CheckKey(key)); err != nil {
		return err
	}
	began, err := d.beginWriting()
	if err != nil {
		return d.fail("writing", key, err)
	}
	defer d.unstage(began)
	var f File
	err = d.within(path.Dir(key), durable, func() error {
		st, err := d.root.Lstat(key)
		if err == nil {
			err = plainFile(st) // a link could lead to anything else that is kept here
		}
		if err == nil || errors.Is(err, fs.ErrNotExist) {
			f, err = d.disk.Update(key)
		}
		return err
	})
	if err != nil {
		return d.fail("writing", key, err)
	}
	err = func() error {
		size, err := f.Seek(0, io.SeekEnd)
		if err != nil {
			return err
		}
		if size < at {
			return fault.Say(store.ErrConflict, "it became shorter meanwhile")
		}
		if _, err := f.Seek(at, io.SeekStart); err != nil {
			return err
		}
		if _, err := f.Write(b); err != nil {
			return err
		}
		if end := at + int64(len(b)); size > end {
			if err := f.Truncate(end); err != nil {
				return err
			}
		}
		return f.Sync()
	}()
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return d.fail("writing", key, err)
	}
	if at == 0 {
		return d.syncFolder(path.Dir(key))
	}
	return nil
}

// removeAll removes a folder of staging with everything in it.
func (d *Drive) removeAll(folder string) error {
	entries, err := d.entries(context.Background(), folder)
	if err != nil {
		return err
	}
	for _, e := range entries {
		name := path.Join(folder, e.Name())
		if e.IsDir() {
			err = d.removeAll(name)
		} else {
			err = d.disk.Remove(name)
		}
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	if err := d.disk.Remove(folder); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}
