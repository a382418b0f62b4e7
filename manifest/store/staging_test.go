package store_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
)

// A try that was killed between making a folder and the first file in it leaves
// the folder empty. It must not become part of a version made of other files:
// OCFL 1.1 section 3.3.1 (E024) forbids empty folders in content.
func TestDriveEmptyStagedFolders(t *testing.T) {
	dir := memoryDir(t)
	r, err := drive.New(dir)
	must(t, err)
	defer r.Close()
	must(t, r.Init(t.Context(), testID))
	must(t, os.MkdirAll(filepath.Join(dir, "extensions/linecamp-staging", object, "v1/content/left"), 0o777))
	s := newSite()
	draft := s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18"})
	must(t, s.tryStore(t.Context(), r, draft))
	if _, err := os.Lstat(filepath.Join(dir, object, "v1/content/2018/plot.jpg")); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Lstat(filepath.Join(dir, object, "v1/content/left")); !os.IsNotExist(err) {
		t.Errorf("an empty folder was committed: %v", err)
	}
}

// besides writes a small file elsewhere, as the seal is written while a version
// is taken, just after the marker of one that moved in was removed.
type besides struct {
	drive.Disk
	write func()
}

func (d besides) Remove(name string) error {
	err := d.Disk.Remove(name)
	if strings.HasSuffix(name, ".pending") {
		d.write()
	}
	return err
}

// The last writer takes the empty staging folder away. That is no fault of the
// version that was to make its own removal there last.
func TestStagingGoesWhileAVersionMovesIn(t *testing.T) {
	r, _ := driveIn(t)
	wrote := 0
	r.WrapDisk(func(d drive.Disk) drive.Disk {
		return besides{d, func() {
			wrote++
			_, err := r.Create(t.Context(), fmt.Sprintf("extensions/besides/%d.txt", wrote), store.Bytes([]byte("x")))
			must(t, err)
		}}
	})
	s := newSite()
	s.store(t, r, s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18"}))
	if wrote == 0 {
		t.Error("nothing was written meanwhile")
	}
}
