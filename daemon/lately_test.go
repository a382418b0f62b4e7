package daemon_test

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/status"
)

// What was well at the last round is believed for a while, and not as soon as something
// tells that it may be otherwise. Then somebody has to look.
func TestWhatWasWellIsBelievedUntilSomethingTellsOtherwise(t *testing.T) {
	for name, c := range map[string]struct {
		change   func(r *ranch, a *daemon.Archive, cfg *config.Archive)
		believed bool
	}{
		"nothing":                   {func(*ranch, *daemon.Archive, *config.Archive) {}, true},
		"a later hour":              {func(r *ranch, _ *daemon.Archive, _ *config.Archive) { r.now = r.now.Add(20 * time.Hour) }, true},
		"a round that is late":      {func(r *ranch, _ *daemon.Archive, _ *config.Archive) { r.now = r.now.Add(27 * time.Hour) }, false},
		"a clock that was set back": {func(r *ranch, _ *daemon.Archive, _ *config.Archive) { r.now = r.now.Add(-time.Hour) }, false},
		"other settings":            {func(_ *ranch, _ *daemon.Archive, cfg *config.Archive) { cfg.Copies[0].Away++ }, false},
		"a folder that is gone":     {func(_ *ranch, _ *daemon.Archive, cfg *config.Archive) { move(t, cfg.Folder) }, false},
		"a drive that is gone":      {func(_ *ranch, _ *daemon.Archive, cfg *config.Archive) { move(t, cfg.Copies[0].Root) }, false},
		"no service":                {func(_ *ranch, a *daemon.Archive, _ *config.Archive) { os.Remove(filepath.Join(a.Dir, "service.json")) }, false},
		"damage that a check found": {func(r *ranch, a *daemon.Archive, cfg *config.Archive) {
			spoil(t, cfg.Copies[0].Root)
			r.verify(a, daemon.VerifyOptions{})
		}, false},
		"what was written down is rotten": {func(_ *ranch, a *daemon.Archive, _ *config.Archive) {
			os.Truncate(filepath.Join(a.Dir, "standing.json"), 40)
		}, false},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRanch(t, "shelf")
			r.now = time.Date(2026, 3, 2, 12, 0, 0, 0, time.Local) // no season is over that lacks a visit
			r.setup()
			a := r.open()
			r.mirror(a)
			r.verify(a, daemon.VerifyOptions{})
			if s := r.status(a); s.Wants() {
				t.Fatalf("%+v", s.Attention)
			}
			cfg := r.load()
			was := r.now
			c.change(r, a, &cfg)
			if name != "no service" {
				file := filepath.Join(a.Dir, "service.json")
				if err := os.WriteFile(file, fmt.Appendf(nil, `{"process": %d, "began": %q}`, os.Getpid(), was.Format(time.RFC3339)), 0o600); err != nil {
					t.Fatal(err)
				}
				os.Chtimes(file, r.now, r.now)
			}
			s, ok := status.Lately(cfg, 1, r.now)
			if ok != c.believed || ok && (s.AsOf == nil || !s.AsOf.Equal(was.UTC().Truncate(time.Second)) || len(s.Copies) != 1 || s.Copies[0].Files == 0 || !s.Service.Running) {
				t.Errorf("believed: %v, %+v", ok, s)
			}
		})
	}
}

func move(t *testing.T, folder string) {
	if err := os.Rename(folder, folder+" away"); err != nil {
		t.Fatal(err)
	}
}

// spoil flips a byte of one picture on a copy.
func spoil(t *testing.T, root string) {
	all, err := filepath.Glob(filepath.Join(root, "*", "v1", "content", "*", "*.jpg"))
	if err != nil || len(all) == 0 {
		t.Fatal("no picture: ", err)
	}
	b, err := os.ReadFile(all[0])
	if err == nil {
		os.Chmod(all[0], 0o600)
		b[len(b)/2] ^= 1
		err = os.WriteFile(all[0], b, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
}
