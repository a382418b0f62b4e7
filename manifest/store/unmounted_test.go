package store

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
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
		d, err := NewDrive(folder)
		if !errors.Is(err, ErrNotHere) || !strings.Contains(err.Error(), "nothing is mounted there now") {
			t.Errorf("%s: %v", folder, err)
		}
		if err == nil {
			d.Close()
		}
	}
	if below, err := os.ReadDir(place); err != nil || len(below) > 0 {
		t.Errorf("below the mount point: %v, %v", below, err)
	}
	d, err := NewDrive(filepath.Join(dir, "photo drive too")) // beside it
	if err != nil {
		t.Fatal(err)
	}
	d.Close()
	mountTable = filepath.Join(dir, "none")
	if d, err = NewDrive(place); err != nil {
		t.Fatal(err)
	}
	d.Close()
}
