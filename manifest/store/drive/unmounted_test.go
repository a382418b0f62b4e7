package drive

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"linecamp/manifest/store"
)

// Setup makes nothing where a drive is to be mounted and is not.
func TestNothingIsMadeUnderAnEmptyMountPoint(t *testing.T) {
	dir := t.TempDir()
	place := filepath.Join(dir, "photo drive")
	if err := os.Mkdir(place, 0o777); err != nil {
		t.Fatal(err)
	}
	table := filepath.Join(dir, "fstab")
	text := fmt.Sprintf("# drives\nLABEL=root / ext4 defaults 0 1\nLABEL=swap none swap sw 0 0\nLABEL=photos %s ext4 nofail 0 2\n",
		strings.ReplaceAll(filepath.ToSlash(place), " ", `\040`))
	if err := os.WriteFile(table, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	was := mountTable
	mountTable = table
	t.Cleanup(func() { mountTable = was })
	if filepath.Separator != '/' {
		t.Skip("fstab is for Unix")
	}
	for _, folder := range []string{place, filepath.Join(place, "line-camp")} {
		d, err := New(folder)
		if !errors.Is(err, store.ErrNotHere) || !strings.Contains(err.Error(), "nothing is mounted there now") {
			t.Errorf("%s: %v", folder, err)
		}
		if err == nil {
			d.Close()
		}
	}
	if below, err := os.ReadDir(place); err != nil || len(below) > 0 {
		t.Errorf("below the mount point: %v, %v", below, err)
	}
	d, err := New(filepath.Join(dir, "photo drive too")) // beside it
	if err != nil {
		t.Fatal(err)
	}
	d.Close()
	mountTable = filepath.Join(dir, "none")
	if d, err = New(place); err != nil {
		t.Fatal(err)
	}
	d.Close()
}

// A mount unit of systemd counts as an entry of fstab does; and so does an empty
// folder where drives belong, with nothing mounted at or above it.
func TestNothingIsMadeWhereADriveBelongs(t *testing.T) {
	if filepath.Separator != '/' {
		t.Skip("these places are for Unix")
	}
	dir := t.TempDir()
	units, media := filepath.Join(dir, "units"), filepath.Join(dir, "media")
	for _, d := range []string{units, filepath.Join(dir, "attic"), filepath.Join(media, "office", "empty"), filepath.Join(media, "full", "photos")} {
		if err := os.MkdirAll(d, 0o777); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(units, "attic.mount"), []byte("[Mount]\nWhat=LABEL=attic\nWhere="+filepath.Join(dir, "attic")+"\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	table, was, places := mountTable, mountUnits, drivePlaces
	t.Cleanup(func() { mountTable, mountUnits, drivePlaces = table, was, places })
	mountTable, mountUnits, drivePlaces = filepath.Join(dir, "none"), []string{units}, []string{media}
	for folder, refused := range map[string]bool{
		"attic": true, "attic/line-camp": true, "attic-too": false,
		"media/office/empty": true, "media/office/empty/line-camp": true,
		"media/full/line-camp": false, // somebody keeps things there
		"elsewhere":            false,
	} {
		d, err := New(filepath.Join(dir, folder))
		if got := errors.Is(err, store.ErrNotHere); got != refused || !refused && err != nil {
			t.Errorf("%s: %v", folder, err)
		}
		if err == nil {
			d.Close()
		}
	}
}
