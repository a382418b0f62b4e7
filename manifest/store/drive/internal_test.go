package drive

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linecamp/manifest/store"
)

func TestFindDriveAmongMounts(t *testing.T) {
	top := t.TempDir()
	make := func(folder, id string) {
		if err := os.MkdirAll(filepath.Dir(folder), 0o777); err != nil {
			t.Fatal(err)
		}
		d, err := New(folder)
		if err != nil {
			t.Fatal(err)
		}
		defer d.Close()
		err = d.Init(t.Context(), store.Identity{ArchiveID: strings.Replace(id, "1", "2", 1), Archive: "saltbush-draw", CopyID: id, Created: time.Now()})
		if err != nil {
			t.Fatal(err)
		}
	}
	id := func(n string) string { return n + "0000000-0000-0000-0000-000000000000" }
	make(filepath.Join(top, "one"), id("1"))                      // the mount point itself
	make(filepath.Join(top, "two [x]", "below"), id("2"))         // one level down, under another name
	make(filepath.Join(top, "three", "a", "b", "camp"), id("3"))  // where the hint's end says
	make(filepath.Join(top, "three", "deep", "er", "c"), id("4")) // neither
	mounts := []string{filepath.Join(top, "none"), filepath.Join(top, "one"), filepath.Join(top, "two [x]"), filepath.Join(top, "three")}
	for n, want := range map[string]string{
		"1": "one", "2": "two [x]/below", "3": "three/a/b/camp", "4": "",
	} {
		got, err := findDrive(id(n), "/media/office/a/b/camp", mounts)
		if want == "" {
			if err == nil {
				t.Errorf("%s: found at %s", n, got)
			}
			continue
		}
		if err != nil || got != filepath.Join(top, filepath.FromSlash(want)) {
			t.Errorf("%s: %q, %v, want %s", n, got, err, want)
		}
	}
}

// A torn marker is of a rename that never began; a whole one round-trips.
func FuzzReadMarker(f *testing.F) {
	f.Add([]byte(""))
	f.Add(marker(nil))
	f.Add([]byte(strings.Repeat("a", 64) + "  v1/content/x y.jpg\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		put, ok := readMarker(b)
		if !ok {
			return
		}
		again, ok := readMarker(marker(put))
		if !ok || len(again) != len(put) {
			t.Fatalf("%q became %v and then %v", b, put, again)
		}
	})
}

// Nothing is read or written of a file that the drive cannot hold.
func TestPutWhatTheDriveCannotHold(t *testing.T) {
	d, err := New(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	d.most = 9
	b, err := d.Begin(t.Context(), "stake-3", 1)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	c := store.Bytes([]byte("ten bytes."))
	c.Open = func(context.Context) (io.ReadCloser, error) { t.Error("it was read"); return nil, io.EOF }
	if _, err := b.Put(t.Context(), "v1/content/film.mp4", c); !errors.Is(err, store.ErrTooLarge) {
		t.Errorf("got %v, want ErrTooLarge", err)
	}
	if _, err := b.Put(t.Context(), "v1/content/plot.jpg", store.Bytes([]byte("nine byte"))); err != nil {
		t.Error(err)
	}
}
