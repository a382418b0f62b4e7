package wholefile

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"linecamp/manifest/store/mounttest"
)

// What has the name stays as it is, and a name that is free is taken, on this
// machine's own disk and on drives whose file systems have no links.
func TestName(t *testing.T) {
	t.Run("here", func(t *testing.T) { names(t, t.TempDir()) })
	for _, kind := range mounttest.Kinds(t) {
		t.Run(kind.Name, func(t *testing.T) {
			dir := t.TempDir()
			disk, err := mounttest.New(kind, filepath.Join(t.TempDir(), "disk.img"))
			if err != nil {
				t.Fatal(err)
			}
			if err := disk.Mount(dir); err != nil {
				t.Fatal(err)
			}
			defer func() {
				if err := disk.Unmount(); err != nil {
					t.Error(err)
				}
			}()
			names(t, dir)
		})
	}
}

func names(t *testing.T, dir string) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	put := func(name, text string) {
		t.Helper()
		if err := root.WriteFile(name, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	holds := func(name, text string) {
		t.Helper()
		if b, err := root.ReadFile(name); err != nil || string(b) != text {
			t.Errorf("%s holds %q, %v; want %q", name, b, err, text)
		}
	}
	put("draft", "mine")
	if err := Name(root, "draft", "card"); err != nil {
		t.Fatal(err)
	}
	holds("card", "mine")
	if _, err := root.Lstat("draft"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the draft is still there: %v", err)
	}
	put("draft", "another")
	if err := Name(root, "draft", "card"); !errors.Is(err, fs.ErrExist) {
		t.Errorf("over a file: %v", err)
	}
	holds("card", "mine")
	if err := root.Mkdir("folder", 0o777); err != nil {
		t.Fatal(err)
	}
	if err := Name(root, "draft", "folder"); !errors.Is(err, fs.ErrExist) {
		t.Errorf("over a folder: %v", err)
	}
	holds("draft", "another")
	if err := Name(root, "none", "free"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a draft that is gone: %v", err)
	}
}
