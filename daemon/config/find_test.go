package config

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestWhereConfigsAre: the user's own folder goes before the system's, for
// looking and for writing; only root without one of its own writes to the
// system's.
func TestWhereConfigsAre(t *testing.T) {
	dir := alone(t)
	users := usersFolder(t, dir)
	was := system
	system = filepath.Join(dir, "etc")
	t.Cleanup(func() { system = was })

	if _, faults := LoadFrom(""); len(faults) != 1 || !errors.Is(faults[0], fs.ErrNotExist) ||
		!strings.Contains(faults[0].Error(), users) || !strings.Contains(faults[0].Error(), system) {
		t.Errorf("not every place is named: %v", faults)
	}
	if got := New(""); got != users {
		t.Errorf("a new config would go to %s", got)
	}
	put(t, filepath.Join(system, "ranch.toml"), "")
	if got := Find(""); got != system {
		t.Errorf("the system's config is not found, but %s", got)
	}
	if got := New(""); got != users {
		t.Errorf("beside the system's, a new config would go to %s", got)
	}
	if os.Geteuid() == 0 {
		t.Setenv("XDG_CONFIG_HOME", "")
		t.Setenv("HOME", dir)
		if got := New(""); got != system {
			t.Errorf("root's would go to %s", got)
		}
		own := filepath.Join(dir, ".config", "linecamp")
		put(t, filepath.Join(own, "mine.toml"), "")
		if got := New(""); got != own || Find("") != own {
			t.Errorf("root has configs of its own, and a new one would go to %s", got)
		}
	}
}
