package intake

import "testing"

func TestDevice(t *testing.T) {
	dir := t.TempDir()
	a, err := Device(dir)
	if err != nil || a == "" {
		t.Fatalf("%q, %v", a, err)
	}
	put(t, dir, "below/x")
	if b, err := Device(dir + "/below"); err != nil || a != b {
		t.Errorf("a folder and the one below it: %q and %q, %v", a, b, err)
	}
	if _, err := Device(dir + "/nothing"); err == nil {
		t.Error("nothing is on a device")
	}
}
