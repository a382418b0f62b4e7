package mirror

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"syscall"

	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/s3"
)

var errKilled = errors.New("simulated: the process was killed")

// killer ends the process of a round at one of the writes it does, just before
// it or just after.
type killer struct {
	mu    sync.Mutex
	at    int // the write, counted from 1; 0 is never
	after bool
	done  int
	dead  bool

	meetAt int    // the write in whose place another's round runs first
	meet   func() // which is this; nil for none

	die func() // what dying does; called once
}

// before counts a write. last tells that the process is to end once it is done.
func (k *killer) before() (last bool, err error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.dead {
		return false, errKilled
	}
	k.done++
	if meet := k.meet; meet != nil && k.done >= k.meetAt {
		k.meet = nil
		k.mu.Unlock()
		meet()
		k.mu.Lock()
	}
	if k.done != k.at {
		return false, nil
	}
	if k.after {
		return true, nil
	}
	return false, k.end()
}

func (k *killer) now() error {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.end()
}

func (k *killer) end() error {
	if !k.dead {
		k.dead = true
		k.die()
	}
	return errKilled
}

// simDisk is a drive's file system with the trouble of the round.
type simDisk struct {
	drive.Disk
	c *simCopy
}

// do does one operation, unless the drive refuses it or the process ends. more
// says that it needs room on the drive.
func (d simDisk) do(what, name string, more bool, op func() error) error {
	last, err := d.c.s.kill.before()
	if err != nil {
		return err
	}
	if err := d.c.refuse(what, name, more); err != nil {
		return err
	}
	d.c.dirty.Store(true)
	err = op()
	if last {
		return d.c.s.kill.now()
	}
	return err
}

// refuse is what the drive says to its next operation.
func (c *simCopy) refuse(what, name string, more bool) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.ops++
	if c.ails(what, name) {
		return c.ailment.err
	}
	switch {
	case c.trouble.kind == "read-only":
		return syscall.EROFS
	case c.trouble.kind == "full" && more && c.ops >= c.trouble.at:
		return syscall.ENOSPC
	case c.trouble.kind == "failing" && c.ops >= c.trouble.at:
		return syscall.EIO
	}
	return nil
}

func (d simDisk) Mkdir(name string) error {
	return d.do("mkdir", name, true, func() error { return d.Disk.Mkdir(name) })
}
func (d simDisk) Rename(from, to string) error {
	return d.do("rename", to, false, func() error { return d.Disk.Rename(from, to) })
}
func (d simDisk) Link(from, to string) error {
	return d.do("link", to, false, func() error { return d.Disk.Link(from, to) })
}
func (d simDisk) Remove(name string) error {
	return d.do("remove", name, false, func() error { return d.Disk.Remove(name) })
}
func (d simDisk) SyncFolder(name string) error {
	return d.do("sync", name, false, func() error { return nil }) // nothing here outlives the machine
}
func (d simDisk) SyncAll() error {
	return d.do("sync", "", false, func() error { return nil })
}

func (d simDisk) Create(name string) (drive.File, error) {
	return d.open("create", name, func() (drive.File, error) { return d.Disk.Create(name) })
}

func (d simDisk) Update(name string) (drive.File, error) {
	return d.open("update", name, func() (drive.File, error) { return d.Disk.Update(name) })
}

func (d simDisk) open(what, name string, open func() (drive.File, error)) (drive.File, error) {
	var f drive.File
	err := d.do(what, name, true, func() (err error) {
		f, err = open()
		return err
	})
	if err != nil {
		if f != nil {
			f.Close()
		}
		return nil, err
	}
	return simFileOf{f, d, name}, nil
}

type simFileOf struct {
	drive.File
	d    simDisk
	name string
}

func (f simFileOf) Write(b []byte) (n int, err error) {
	err = f.d.do("write", f.name, true, func() (err error) {
		n, err = f.File.Write(b)
		return err
	})
	if errors.Is(err, syscall.ENOSPC) && n == 0 {
		n, _ = f.File.Write(b[:len(b)/2]) // the drive took what still fitted
		return n, err
	}
	if err == nil && n < len(b) {
		err = io.ErrShortWrite
	}
	return n, err
}

func (f simFileOf) Truncate(size int64) error {
	return f.d.do("truncate", f.name, false, func() error { return f.File.Truncate(size) })
}

func (f simFileOf) Sync() error {
	return f.d.do("sync", f.name, false, func() error { return nil })
}

// open opens the copy as this round finds it.
func (c *simCopy) open(ctx context.Context) (store.Root, error) {
	if c.kind == "s3" {
		var stale map[string]simObject
		if c.trouble.kind == "old listings" {
			stale = c.older
		}
		c.bucket.begin(stale)
		return s3.Open(ctx, s3.Options{URL: fmt.Sprintf("https://s3-%s.example/ranch", c.id[len(c.id)-1:]), Region: "us-east-1",
			Access: "a", Secret: "s", Fence: true, Transport: c.bucket})
	}
	path := c.path
	switch c.trouble.kind {
	case "away":
		return nil, store.ErrNotHere
	case "another drive":
		path = c.s.foreign
	case "empty mount point":
		path = c.s.empty
	}
	d, err := drive.Open(path, c.id)
	if err != nil {
		return nil, err
	}
	c.ops = 0
	d.WrapDisk(func(disk drive.Disk) drive.Disk { return simDisk{disk, c} })
	return d, nil
}
