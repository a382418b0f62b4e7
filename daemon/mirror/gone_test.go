package mirror

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"linecamp/daemon/reach"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/mounttest"
)

// after is a Disk on which something happens before its n-th operation.
type after struct {
	drive.Disk
	left atomic.Int64
	then func()
}

func (a *after) tick() {
	if a.left.Add(-1) == 0 {
		a.then()
	}
}

func (a *after) Mkdir(name string) error      { a.tick(); return a.Disk.Mkdir(name) }
func (a *after) Rename(from, to string) error { a.tick(); return a.Disk.Rename(from, to) }
func (a *after) Link(from, to string) error   { a.tick(); return a.Disk.Link(from, to) }
func (a *after) Remove(name string) error     { a.tick(); return a.Disk.Remove(name) }
func (a *after) SyncFolder(name string) error { a.tick(); return a.Disk.SyncFolder(name) }
func (a *after) SyncAll() error               { a.tick(); return a.Disk.SyncAll() }

func (a *after) Create(name string) (drive.File, error) { a.tick(); return a.Disk.Create(name) }
func (a *after) Update(name string) (drive.File, error) { a.tick(); return a.Disk.Update(name) }

// A real drive that goes in the middle of a round: first one that fails with
// everything that was not synced lost, as when its plug is pulled; then one whose
// file system is detached while it is in use. The other copy has everything,
// nothing is written below the mount point, and once the drive is back the next
// round carries on.
func TestADriveGoneInTheMiddle(t *testing.T) {
	for _, kind := range mounttest.Kinds(t) {
		for _, first := range []bool{true, false} { // the drive is the first holder, or follows
			name := kind.Name + " follows"
			if first {
				name = kind.Name + " first"
			}
			t.Run(name, func(t *testing.T) {
				for _, at := range []int64{20, 45} {
					goneAt(t, kind, first, at)
				}
			})
		}
	}
}

func goneAt(t *testing.T, kind mounttest.Kind, first bool, at int64) {
	t.Helper()
	media := t.TempDir()
	disk, err := mounttest.New(kind, filepath.Join(t.TempDir(), "disk.img"))
	must(t, err)
	must(t, disk.Mount(media))
	t.Cleanup(func() { disk.PullOut() })

	r := newRanch(t)
	if !first {
		r.addDrive("barn")
	}
	path := filepath.Join(media, "line-camp")
	d, err := drive.New(path)
	must(t, err)
	shelf := r.addRoot("shelf", "drive", path, d)
	if first {
		r.addDrive("barn")
	}
	for _, site := range []string{"North/Windmill", "North/Gate", "South/Tank"} {
		r.visit(site, "2018-06-21")
	}
	r.wantCurrent(r.mirror())

	for _, site := range []string{"North/Windmill", "North/Gate", "South/Tank"} {
		r.visit(site, "2019-06-21")
	}
	failed := false
	watch := &after{then: func() {
		err := disk.Fail()
		failed = err == nil
		if errors.Is(err, mounttest.ErrNoFail) {
			err = disk.PullOut()
		}
		must(t, err)
	}}
	watch.left.Store(at)
	d.WrapDisk(func(k drive.Disk) drive.Disk { watch.Disk = k; return watch })
	rep := r.mirror()
	if watch.left.Load() > 0 {
		t.Fatalf("the round had only %d operations", at-watch.left.Load())
	}
	// What broke off at its commit, or at its line in the seal, may be on the drive
	// or not: it waits for the drive, so that no number is used twice.
	waits := false
	for reason := range reasons(rep) {
		waits = waits || strings.HasPrefix(reason, "shelf ") && strings.Contains(reason, "give it up with")
	}
	if rep.Made > 3 || rep.Made < 3 && !waits {
		t.Errorf("at %d: %d versions were made: %+v", at, rep.Made, rep)
	}
	for i, c := range rep.Copies {
		switch {
		case r.copies[i] != shelf && c.State != reach.Current:
			t.Errorf("at %d: %s is %s: %s", at, c.Copy, c.State, c.Error)
		case r.copies[i] == shelf && failed && (c.State != reach.Failed || !strings.Contains(c.Error, path)):
			t.Errorf("at %d: the drive that failed is %s: %s", at, c.State, c.Error)
		}
	}
	d.Close()
	must(t, disk.PullOut())
	if below, err := os.ReadDir(media); err != nil || len(below) > 0 {
		t.Fatalf("at %d: below the mount point: %v, %v", at, below, err)
	}

	// Away for one round, then back.
	shelf.err = store.ErrNotHere
	r.visit("North/Windmill", "2020-06-21")
	r.mirror()
	must(t, disk.Mount(media))
	back, err := drive.Open(path, shelf.id)
	must(t, err)
	shelf.root, shelf.err = back, nil
	r.wantCurrent(r.mirror())
	must(t, back.Close())
	must(t, disk.Unmount())
}
