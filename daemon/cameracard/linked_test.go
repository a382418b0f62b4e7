package cameracard

import (
	"os"
	"path/filepath"
	"testing"

	"linecamp/manifest/store/mounttest"
)

// A copy inside the folder that a card's name leads to goes with the card, also
// where it lies on a disk of its own that is mounted in there.
func TestACopyInALinkedCardIsWipedWithIt(t *testing.T) {
	check := func(t *testing.T, root, link string) {
		if err := os.MkdirAll(root, 0o755); err != nil {
			t.Fatal(err)
		}
		if device, why := driveDevice(root, "", link); device != "" || why != "lies in the folder that is to be wiped" {
			t.Errorf("counted on %q: %s", device, why)
		}
	}
	dir := t.TempDir()
	link := filepath.Join(dir, "card")
	if err := os.Symlink(filepath.Join(dir, "laptop"), link); err != nil {
		t.Skip(err)
	}
	t.Run("one disk", func(t *testing.T) { check(t, filepath.Join(dir, "laptop", "line-camp"), link) })
	for _, kind := range mounttest.Kinds(t) {
		t.Run("another disk, "+kind.Name, func(t *testing.T) {
			disk, err := mounttest.New(kind, filepath.Join(t.TempDir(), "disk.img"))
			if err != nil {
				t.Fatal(err)
			}
			mounted := filepath.Join(dir, "laptop", kind.Name)
			if err := os.MkdirAll(mounted, 0o755); err != nil {
				t.Fatal(err)
			}
			if err := disk.Mount(mounted); err != nil {
				t.Fatal(err)
			}
			defer disk.Unmount()
			check(t, filepath.Join(mounted, "line-camp"), link)
		})
	}
}
