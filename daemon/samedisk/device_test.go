package samedisk

import (
	"os"
	"path/filepath"
	"testing"
)

func TestDevice(t *testing.T) {
	dir := t.TempDir()
	a, err := Device(dir)
	if err != nil || a == "" {
		t.Fatalf("%q, %v", a, err)
	}
	if err := os.Mkdir(filepath.Join(dir, "below"), 0o777); err != nil {
		t.Fatal(err)
	}
	if b, err := Device(dir + "/below"); err != nil || a != b {
		t.Errorf("a folder and the one below it: %q and %q, %v", a, b, err)
	}
	if _, err := Device(dir + "/nothing"); err == nil {
		t.Error("nothing is on a device")
	}
}
