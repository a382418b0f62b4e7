package drive

import (
	"io"
	"os"

	"linecamp/manifest/wholefile"
)

// Disk is everything a Drive does that changes its file system. It is a seam:
// a test stands in for it to see each operation, refuse it, or forget what was
// not synced. Names are slash-separated and relative to the root.
type Disk interface {
	Mkdir(name string) error
	// Create makes a new file; it fails where anything is.
	Create(name string) (File, error)
	// Update opens a file for writing in place, and makes it if need be.
	Update(name string) (File, error)
	Rename(from, to string) error
	// Link gives a file a second name; it fails where anything is.
	Link(from, to string) error
	// Remove removes a file or an empty folder.
	Remove(name string) error
	// SyncFolder makes the names in a folder durable: what was created,
	// renamed or removed there.
	SyncFolder(name string) error
	// SyncAll makes everything written so far durable. Where the system
	// cannot, SyncsAll is false and each file and folder is synced by itself.
	SyncAll() error
	SyncsAll() bool
}

// File is a file open for writing.
type File interface {
	io.Writer
	io.Seeker
	io.Closer
	Truncate(size int64) error
	Sync() error
}

// rootDisk is the real Disk. It works through os.Root, so that no link on the
// drive can lead a write outside of it.
type rootDisk struct {
	root *os.Root
	dir  *os.File // the root folder itself, held open since the start

	syncsAll bool
}

func (d rootDisk) Mkdir(name string) error      { return d.root.Mkdir(name, 0o777) }
func (d rootDisk) Rename(from, to string) error { return d.root.Rename(from, to) }
func (d rootDisk) Link(from, to string) error   { return d.root.Link(from, to) }
func (d rootDisk) Remove(name string) error     { return d.root.Remove(name) }

func (d rootDisk) Create(name string) (File, error) {
	return fileOrError(d.root.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666))
}

func (d rootDisk) Update(name string) (File, error) {
	return fileOrError(d.root.OpenFile(name, os.O_WRONLY|os.O_CREATE, 0o666))
}

// fileOrError keeps a nil *os.File from becoming a File that is not nil.
func fileOrError(f *os.File, err error) (File, error) {
	if err != nil {
		return nil, err
	}
	return f, nil
}

func (d rootDisk) SyncFolder(name string) error { return wholefile.SyncFolder(d.root, name) }
