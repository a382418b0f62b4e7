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

// A power cut may leave a folder that was made for a file and never got it, and nothing
// else that tells of it. The next Lock takes it away: OCFL 1.1 (E073) wants no empty
// folder in a root. What others put among the extensions stays.
func TestDriveEmptyFoldersAmongExtensions(t *testing.T) {
	dir := memoryDir(t)
	r, err := drive.New(dir)
	must(t, err)
	defer r.Close()
	must(t, r.Init(t.Context(), testID))
	at := func(name string) string { return filepath.Join(dir, "extensions", name) }
	for _, name := range []string{"linecamp-left-behind", "linecamp-settings", "linecamp-seal/log", "others"} {
		must(t, os.MkdirAll(at(name), 0o777))
	}
	must(t, os.MkdirAll(at("linecamp-program"), 0o777))
	must(t, os.WriteFile(at("linecamp-program/SHA256SUMS"), nil, 0o666))
	unlock, err := r.Lock(t.Context())
	must(t, err)
	unlock()
	for name, stays := range map[string]bool{
		"linecamp-left-behind": false, "linecamp-settings": false, "linecamp-seal": false,
		"linecamp-program/SHA256SUMS": true, "linecamp-root": true, "others": true,
	} {
		if _, err := os.Lstat(at(name)); os.IsNotExist(err) == stays {
			t.Errorf("%s: %v", name, err)
		}
	}
}
