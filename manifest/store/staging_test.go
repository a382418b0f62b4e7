package store_test

import (
	"os"
	"path/filepath"
	"testing"

	"linecamp/manifest/store"
)

// A try that was killed between making a folder and the first file in it leaves
// the folder empty. It must not become part of a version made of other files:
// OCFL 1.1 section 3.3.1 (E024) forbids empty folders in content.
func TestDriveEmptyStagedFolders(t *testing.T) {
	dir := memoryDir(t)
	r, err := store.NewDrive(dir)
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
