package store_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Folders one in the other, deeper than any system opens, end in an error.
func TestFoldersWithoutEndAreNotListedForEver(t *testing.T) {
	p := drivePlace(t)
	r := p.made(t)
	at, err := os.OpenRoot(r.Name())
	must(t, err)
	t.Cleanup(func() { os.RemoveAll(filepath.Join(r.Name(), "deep")) })
	name := strings.Repeat("d", 200)
	must(t, at.Mkdir("deep", 0o755))
	down, err := at.OpenRoot("deep")
	must(t, err)
	for range 40 {
		must(t, down.Mkdir(name, 0o755))
		next, err := down.OpenRoot(name)
		must(t, err)
		down.Close()
		down = next
	}
	must(t, down.Close())
	for _, err = range r.List(t.Context(), "deep") {
	}
	if err == nil || !strings.Contains(err.Error(), "too deep") {
		t.Errorf("listed: %v", err)
	}
	must(t, at.Close())
}
