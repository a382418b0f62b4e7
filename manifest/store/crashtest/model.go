// Package crashtest is a drive that forgets, for tests of what a crash leaves. Begin
// with [New].
//
// A [Drive] carries out every operation of a store.Disk in a real folder, where
// the code under test reads it back at once, and keeps a second account: what
// of it would still be there after the power was cut. [Drive.StopAt] stops the
// world at a numbered operation, and everything after it fails with [ErrStopped].
// Then either the process was killed ([Drive.Kill]): everything done so far is
// seen by the next one, and still is not safe. Or the power was cut
// ([Drive.Cut]): the folder is rewritten to one of the states that a file
// system may come back with, chosen by a seed.
//
// # What may be forgotten
//
// Safe is only what was synced, and nothing else is implied by it: syncing a
// file does not sync its name, syncing a folder does not sync the files in it,
// its own name in the folder above, or the other folder of a rename.
//
//   - The bytes of a file not synced: it holds what was last synced, or that
//     and a beginning of what came since (which may be empty or the whole), or
//     that with zeros up to its new length.
//   - The names in a folder not synced: each name by itself shows what it
//     showed at the last sync or after any change since. So of two files
//     created, the second may be there without the first; a removed file may
//     be back; a second name (Link) may be missing.
//   - A rename is two changes, of the old name and of the new, and no rename is
//     atomic: after a cut both names may be there, or one, or neither. A name
//     that a rename replaced may show the old file, the new one, or nothing.
//   - A folder seen under both its names is torn: each file in it is under one
//     of them or under both. Under a name that was synced it is whole.
//
// SyncAll makes everything safe at once. With Each set the drive says that it
// cannot do that, and its user has to sync each file and folder.
//
// A write counts as two operations, so that the world can also stop in the
// middle of it. Reading is not an operation. The real folder is never synced:
// only the account decides what lasts.
package crashtest

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"sync"

	"linecamp/manifest/store/drive"
)

// ErrStopped is what every operation says after the world stopped.
var ErrStopped = errors.New("the world stopped")

// Drive is a folder with an account of what is safe in it.
type Drive struct {
	// Each is set for a system that cannot sync everything at once.
	Each bool
	// OnStop is called once when the world stops; it may be nil.
	OnStop func()

	dir string

	mu      sync.Mutex
	root    *node
	done    int // operations since the last StopAt
	at      int // the operation to stop at; 0 for none
	stopped bool
	log     []string
}

// node is a file or a folder, whatever its names are.
type node struct {
	folder bool
	names  map[string]*name // of a folder

	bytes []byte // of a file, as it is now
	safe  []byte // of a file, as it was last synced
	dirty bool   // of a file: written to since
}

// name is what a name in a folder showed, since the folder was last synced: the
// first is safe, the last is what it shows now; nil is nothing.
type name struct {
	showed   []*node
	replaced bool // by a rename
}

func (n *name) now() *node { return n.showed[len(n.showed)-1] }

// New takes a folder as it is for safe.
func New(dir string) (*Drive, error) {
	root, err := read(dir)
	return &Drive{dir: dir, root: root}, err
}

func read(dir string) (*node, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	n := newFolder()
	for _, e := range entries {
		full := filepath.Join(dir, e.Name())
		var child *node
		if e.IsDir() {
			child, err = read(full)
		} else {
			child = &node{}
			child.bytes, err = os.ReadFile(full)
			child.safe = child.bytes
		}
		if err != nil {
			return nil, err
		}
		n.names[e.Name()] = &name{showed: []*node{child}}
	}
	return n, nil
}

func newFolder() *node { return &node{folder: true, names: map[string]*name{}} }

// Wrap is for drive.Drive.WrapDisk.
func (d *Drive) Wrap(real drive.Disk) drive.Disk { return disk{d, real} }

// StopAt lets the next n-1 operations through and stops the world at the nth; 0
// never stops it.
func (d *Drive) StopAt(n int) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.at, d.done, d.stopped, d.log = n, 0, false, nil
}

// Done is how many operations were carried out since StopAt, and whether the
// world stopped.
func (d *Drive) Done() (n int, stopped bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.done, d.stopped
}

// Log lists the operations since StopAt, the one that was stopped at the end.
func (d *Drive) Log() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return append([]string(nil), d.log...)
}

// Kill lets the world go on with another process, which sees all that was done.
func (d *Drive) Kill() { d.StopAt(0) }

// step counts one operation. The caller holds mu.
func (d *Drive) step(op string, args ...any) error {
	if d.stopped {
		return ErrStopped
	}
	d.log = append(d.log, fmt.Sprintf(op, args...))
	if d.at > 0 && d.done+1 >= d.at {
		d.stopped = true
		if d.OnStop != nil {
			d.OnStop()
		}
		return ErrStopped
	}
	d.done++
	return nil
}

// find is the node a name shows now, nil for none.
func (d *Drive) find(key string) *node {
	n := d.root
	if key == "." {
		return n
	}
	for part := range strings.SplitSeq(key, "/") {
		if n == nil || !n.folder {
			return nil
		}
		shown, ok := n.names[part]
		if !ok {
			return nil
		}
		n = shown.now()
	}
	return n
}

// show has a name show another node from now on.
func (d *Drive) show(key string, is *node, replaced bool) {
	folder, base := d.find(path.Dir(key)), path.Base(key)
	n, ok := folder.names[base]
	if !ok {
		n = &name{showed: []*node{nil}}
		folder.names[base] = n
	}
	n.replaced = n.replaced || replaced && n.now() != nil
	n.showed = append(n.showed, is)
}

// sync makes what the names of a folder show now safe.
func (n *node) sync() {
	for base, shown := range n.names {
		if shown.now() == nil {
			delete(n.names, base)
			continue
		}
		n.names[base] = &name{showed: []*node{shown.now()}}
	}
}

func (n *node) syncAll() {
	if !n.folder {
		n.safe, n.dirty = bytes.Clone(n.bytes), false
		return
	}
	n.sync()
	for _, shown := range n.names {
		shown.now().syncAll()
	}
}

// disk is the store.Disk of a Drive.
type disk struct {
	d    *Drive
	real drive.Disk
}

// do carries out one operation and, if it went well, enters it in the account.
func (k disk) do(real func() error, account func(), op string, args ...any) error {
	k.d.mu.Lock()
	defer k.d.mu.Unlock()
	if err := k.d.step(op, args...); err != nil {
		return err
	}
	if err := real(); err != nil {
		return err
	}
	account()
	return nil
}

func (k disk) Mkdir(key string) error {
	return k.do(func() error { return k.real.Mkdir(key) },
		func() { k.d.show(key, newFolder(), false) }, "mkdir %s", key)
}

func (k disk) Rename(from, to string) error {
	return k.do(func() error { return k.real.Rename(from, to) }, func() {
		n := k.d.find(from)
		k.d.show(to, n, true)
		k.d.show(from, nil, false)
	}, "rename %s %s", from, to)
}

func (k disk) Link(from, to string) error {
	return k.do(func() error { return k.real.Link(from, to) },
		func() { k.d.show(to, k.d.find(from), false) }, "link %s %s", from, to)
}

func (k disk) Remove(key string) error {
	return k.do(func() error { return k.real.Remove(key) },
		func() { k.d.show(key, nil, false) }, "remove %s", key)
}

func (k disk) SyncFolder(key string) error {
	return k.do(func() error {
		if n := k.d.find(key); n == nil || !n.folder {
			return &fs.PathError{Op: "sync", Path: key, Err: fs.ErrNotExist}
		}
		return nil
	}, func() { k.d.find(key).sync() }, "sync folder %s", key)
}

func (k disk) SyncsAll() bool { return !k.d.Each }

func (k disk) SyncAll() error {
	if k.d.Each {
		return nil
	}
	return k.do(func() error { return nil }, k.d.root.syncAll, "sync all")
}

func (k disk) Create(key string) (drive.File, error) { return k.open(key, "create", k.real.Create) }
func (k disk) Update(key string) (drive.File, error) { return k.open(key, "update", k.real.Update) }

func (k disk) open(key, op string, real func(string) (drive.File, error)) (drive.File, error) {
	f := &file{k: k, key: key}
	err := k.do(func() (err error) {
		f.real, err = real(key)
		return err
	}, func() {
		if f.n = k.d.find(key); f.n == nil {
			f.n = &node{dirty: true}
			k.d.show(key, f.n, false)
		}
	}, "%s %s", op, key)
	if err != nil {
		return nil, err
	}
	return f, nil
}

// file is a file open for writing.
type file struct {
	k    disk
	key  string
	real drive.File
	n    *node
	at   int64
}

func (f *file) Write(p []byte) (int, error) {
	half := len(p) / 2
	for _, part := range [][]byte{p[:half], p[half:]} {
		err := f.k.do(func() error { return whole(f.real.Write(part)) }, func() {
			if more := f.at + int64(len(part)) - int64(len(f.n.bytes)); more > 0 {
				f.n.bytes = append(f.n.bytes[:len(f.n.bytes):len(f.n.bytes)], make([]byte, more)...)
			} else {
				f.n.bytes = bytes.Clone(f.n.bytes)
			}
			copy(f.n.bytes[f.at:], part)
			f.at += int64(len(part))
			f.n.dirty = true
		}, "write %s %d", f.key, len(part))
		if err != nil {
			return 0, err
		}
	}
	return len(p), nil
}

func whole(_ int, err error) error { return err }

func (f *file) Seek(offset int64, whence int) (int64, error) {
	if whence == io.SeekCurrent {
		return 0, errors.New("only the beginning and the end are kept account of")
	}
	at, err := f.real.Seek(offset, whence)
	f.at = at
	return at, err
}

func (f *file) Truncate(size int64) error {
	return f.k.do(func() error { return f.real.Truncate(size) }, func() {
		f.n.bytes = append(bytes.Clone(f.n.bytes), make([]byte, size)...)[:size]
		f.n.dirty = true
	}, "truncate %s %d", f.key, size)
}

func (f *file) Sync() error {
	return f.k.do(func() error { return nil }, func() {
		f.n.safe, f.n.dirty = bytes.Clone(f.n.bytes), false
	}, "sync %s", f.key)
}

func (f *file) Close() error { return f.real.Close() }
