// Package wholefile writes files that are there whole or not at all. Call
// [Replace] to write a file, or to write one anew; [Create] where whatever has
// the name already is to stay; [Begin] or [BeginIn] where the caller has more to
// do before the file gets its name; and [Name] for a file that is written by other
// means.
//
// All of them do the same four steps:
//
//  1. The bytes go to a draft in the same folder, under a name that a tally takes
//     for litter.
//  2. The draft is synced.
//  3. The draft gets the name: by a rename, which replaces what has it, or by a
//     link, which fails with fs.ErrExist where anything has it. File systems
//     without links (FAT, exFAT) get a look and then a rename: whoever writes there
//     has to keep others out by a lock, or live with the gap between the two.
//  4. The folder is synced.
//
// A kill or a power cut before step 3 leaves the file as it was, and perhaps the
// draft, which nothing reads; after step 4 it leaves the new file. In between it
// leaves one of the two, whole. Where one of the first three steps fails, the draft
// is removed, the name has what it had before, and the error says why. A folder
// that cannot be synced is no failure: there, the system decides when names last.
package wholefile

import (
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
)

// Draft is a file that is being written, and has no name of its own yet.
type Draft struct {
	*os.File
	root *os.Root
	own  bool // root is closed with the draft
	temp string
	name string
	mode fs.FileMode
	done bool // synced and closed
}

// DraftName is a name for a draft: one that a tally passes over, and that nothing
// has.
func DraftName() string { return fmt.Sprintf(".linecamp-restore-%016x", rand.Uint64()) }

// Begin begins the file at path. The caller calls Drop at the end, whatever came.
func Begin(path string, mode fs.FileMode) (*Draft, error) {
	root, err := os.OpenRoot(filepath.Dir(path))
	if err != nil {
		return nil, err
	}
	d, err := BeginIn(root, DraftName(), filepath.Base(path), mode)
	if err != nil {
		root.Close()
		return nil, err
	}
	d.own = true
	return d, nil
}

// BeginIn begins the file name below root, with a draft whose name the caller
// chooses, in the same folder. Until Finish only its owner reads it. With mode 0
// it has the permissions that the system gives to new files.
func BeginIn(root *os.Root, temp, name string, mode fs.FileMode) (*Draft, error) {
	first := fs.FileMode(0o600)
	if mode == 0 {
		first = 0o666
	}
	f, err := root.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, first)
	if err != nil {
		return nil, err
	}
	return &Draft{File: f, root: root, temp: temp, name: name, mode: mode}, nil
}

// Finish gives the draft its permissions and has its bytes on storage. Replace and
// Create call it where the caller did not.
func (d *Draft) Finish() error {
	if d.done {
		return nil
	}
	d.done = true
	var err error
	if d.mode != 0 {
		err = d.Chmod(d.mode)
	}
	return errors.Join(err, d.Sync(), d.Close())
}

// Replace gives the draft its name, in the place of what has it.
func (d *Draft) Replace() error { return d.put(d.root.Rename) }

// Create gives the draft its name; the error wraps fs.ErrExist where something has
// it.
func (d *Draft) Create() error {
	return d.put(func(temp, name string) error { return Name(d.root, temp, name) })
}

func (d *Draft) put(as func(temp, name string) error) error {
	if err := d.Finish(); err != nil {
		return err
	}
	if err := as(d.temp, d.name); err != nil {
		return err
	}
	_ = SyncFolder(d.root, filepath.Dir(d.name))
	return nil
}

// Drop removes a draft that did not get its name. Afterwards d is of no use.
func (d *Draft) Drop() {
	if !d.done {
		d.Close()
	}
	_ = d.root.Remove(d.temp) // gone already when all went well
	if d.own {
		d.root.Close()
	}
}

// Replace writes the file at path, in the place of what is there.
func Replace(path string, mode fs.FileMode, b []byte) error {
	return write(path, mode, b, (*Draft).Replace)
}

// Create writes the file at path; the error wraps fs.ErrExist where something is
// there.
func Create(path string, mode fs.FileMode, b []byte) error {
	return write(path, mode, b, (*Draft).Create)
}

func write(path string, mode fs.FileMode, b []byte, put func(*Draft) error) error {
	d, err := Begin(path, mode)
	if err != nil {
		return err
	}
	defer d.Drop()
	if _, err := d.Write(b); err != nil {
		return err
	}
	return put(d)
}

// Folder is where Name works: an os.Root, or what stands for one.
type Folder interface {
	Link(from, to string) error
	Rename(from, to string) error
	Lstat(name string) (fs.FileInfo, error)
	Remove(name string) error
}

// Name names the file temp, which lies in the same folder and is synced. The error
// wraps fs.ErrExist where something has that name, whatever it is; temp stays then.
// The folder is not synced: a caller that names many files syncs it once.
func Name(in Folder, temp, name string) error {
	// A link is refused where a name is taken; a rename would replace.
	err := in.Link(temp, name)
	if err == nil {
		_ = in.Remove(temp) // what stays of it is the same file under a second name
		return nil
	}
	if errors.Is(err, fs.ErrExist) || errors.Is(err, fs.ErrNotExist) {
		return err
	}
	switch _, there := in.Lstat(name); {
	case there == nil:
		return &os.LinkError{Op: "rename", Old: temp, New: name, Err: fs.ErrExist}
	case !errors.Is(there, fs.ErrNotExist):
		return there
	}
	return in.Rename(temp, name)
}

// SyncFolder makes the names in a folder below root last: what was made, renamed or
// removed there.
func SyncFolder(root *os.Root, name string) error {
	f, err := root.Open(name)
	if err != nil {
		return err
	}
	return errors.Join(SyncOpen(f), f.Close())
}

// SyncOpen makes the names in an open folder last. Windows has no call for it, and
// orders the changes of names by its own journal.
func SyncOpen(f *os.File) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	return f.Sync()
}
