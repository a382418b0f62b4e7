package cameracard

import (
	"os"
	"path/filepath"
	"testing"
)

// A copy inside the folder that a card's name leads to goes with the card.
func TestACopyInALinkedCardIsWipedWithIt(t *testing.T) {
	dir := t.TempDir()
	root := filepath.Join(dir, "laptop", "line-camp")
	if err := os.MkdirAll(root, 0o755); err != nil {
		t.Fatal(err)
	}
	link := filepath.Join(dir, "card")
	if err := os.Symlink(filepath.Join(dir, "laptop"), link); err != nil {
		t.Skip(err)
	}
	if device, why := driveDevice(root, "", link); device != "" || why != "lies in the folder that is to be wiped" {
		t.Errorf("counted on %q: %s", device, why)
	}
}
