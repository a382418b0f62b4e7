package within

import (
	"os"
	"path"
	"path/filepath"
	"strings"
	"testing"
)

func TestPath(t *testing.T) {
	for _, c := range []struct {
		path, folder string
		in, below    bool
	}{
		{"a/b", "a", true, true}, {"a/b/c", "a/b", true, true}, {"a", "a", true, false},
		{"ab", "a", false, false}, {"a", "a/b", false, false}, {"b/a", "a", false, false},
		{"a", "", true, true}, {"", "", true, true}, {"", "a", false, false}, {"a/", "a", true, true},
	} {
		if got := Path(c.path, c.folder); got != c.in {
			t.Errorf("Path(%q, %q) = %v", c.path, c.folder, got)
		}
		if got := Below(c.path, c.folder); got != c.below {
			t.Errorf("Below(%q, %q) = %v", c.path, c.folder, got)
		}
	}
}

// A path that is accepted stays inside, on every system alike.
func FuzzLocal(f *testing.F) {
	for _, s := range []string{"a/b", "caf\xe9/x", "../a", "/etc/passwd", "a/../b", "a//b", ".", "", "a/.", "a\x00b", "a/"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		inside := s != "" && s != "." && s[0] != '/' && path.Clean(s) == s && s != ".." && !strings.HasPrefix(s, "../") && !strings.Contains(s, "\x00")
		if Local(s) != inside {
			t.Fatalf("Local(%q) = %v", s, Local(s))
		}
	})
}

// Links are followed in the part of a place that is there; names alone do not tell.
func TestFolder(t *testing.T) {
	dir := t.TempDir()
	at := func(p string) string { return filepath.Join(dir, filepath.FromSlash(p)) }
	for _, d := range []string{"mon/pasture", "monitor"} {
		if err := os.MkdirAll(at(d), 0o777); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink(at("mon/pasture"), at("link")); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		place, folder string
		in            bool
	}{
		{"mon", "mon", true}, {"mon/pasture", "mon", true}, {"mon", "mon/pasture", false}, {"monitor", "mon", false},
		{"mon/../monitor", "mon", false}, {"link", "mon", true}, {"link/yet/to/be/made", "mon", true}, {"mon/pasture/x", "link", true},
		{"mon/none", "mon", true}, {"none", "mon", false}, {"mon", "none", false}, {"..mon", ".", true},
	} {
		if got := Folder(at(c.place), at(c.folder)); got != c.in {
			t.Errorf("%s in %s: %v", c.place, c.folder, got)
		}
	}
}
