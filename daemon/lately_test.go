package daemon_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/event"
	"linecamp/daemon/service"
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
		"a mount point without its drive": {func(_ *ranch, _ *daemon.Archive, cfg *config.Archive) {
			move(t, cfg.Copies[0].Root)
			os.Mkdir(cfg.Copies[0].Root, 0o700)
		}, false},
		"a drill that found damage": {func(r *ranch, a *daemon.Archive, cfg *config.Archive) {
			spoil(t, cfg.Copies[0].Root)
			if d := r.drill(a, daemon.DrillOptions{Everything: true}); !d.Wants() {
				t.Fatal("it found none")
			}
		}, false},
		"a mirror round that failed": {func(r *ranch, a *daemon.Archive, _ *config.Archive) {
			r.now = r.now.Add(14 * time.Hour)
			failing(t, a, func() error { _, err := a.Mirror(t.Context(), daemon.MirrorOptions{}, nil); return err })
		}, false},
		"a verify round that failed": {func(r *ranch, a *daemon.Archive, _ *config.Archive) {
			failing(t, a, func() error { _, err := a.Verify(t.Context(), daemon.VerifyOptions{}, nil); return err })
		}, false},
		"a round that was broken off": {func(r *ranch, a *daemon.Archive, _ *config.Archive) {
			a.TellRound(service.Verify, "")
		}, false},
		"a drive away":               {func(r *ranch, a *daemon.Archive, _ *config.Archive) { away(r, a, 12*24*time.Hour) }, true},
		"a drive away past its days": {func(r *ranch, a *daemon.Archive, _ *config.Archive) { away(r, a, 13*24*time.Hour+20*time.Hour) }, false},
		"a drill that has been lacking for long": {func(r *ranch, a *daemon.Archive, _ *config.Archive) {
			r.now = time.Date(2026, 7, 10, 0, 0, 0, 0, time.Local) // the first was due on April 1
			r.mirror(a)
			r.verify(a, daemon.VerifyOptions{})
			r.mirror(a)
			kept(r, a)
			r.now = r.now.Add(6 * time.Hour)
		}, false},
		"what was written down is rotten": {func(_ *ranch, a *daemon.Archive, _ *config.Archive) {
			os.Truncate(filepath.Join(a.Dir, "standing.json"), 40)
		}, false},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRanch(t, "shelf", "barn")
			r.now = time.Date(2026, 3, 2, 12, 0, 0, 0, time.Local) // no season is over that lacks a visit
			r.setup()
			a := r.open()
			r.mirror(a)
			r.verify(a, daemon.VerifyOptions{})
			r.mirror(a)
			kept(r, a)
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
			if ok != c.believed || ok && (s.AsOf == nil || s.AsOf.After(r.now) || s.AsOf.Before(was.Add(-time.Second)) || len(s.Copies) != 2 || s.Copies[0].Files == 0 || !s.Service.Running) {
				t.Errorf("believed: %v, %+v", ok, s)
			}
			for _, l := range s.Last {
				if ok && (l.Ended == nil || l.Round == service.Mirror && l.Outcome != event.Well) {
					t.Errorf("of the %s round it says %+v", l.Round, l)
				}
			}
		})
	}
}

// kept tells that the last round kept that all was well.
func kept(r *ranch, a *daemon.Archive) {
	r.t.Helper()
	if _, err := os.Stat(filepath.Join(a.Dir, "standing.json")); err != nil {
		r.t.Fatalf("%v: %+v", err, r.status(a).Attention)
	}
}

// failing has a round fail, because nobody can say who this machine is.
func failing(t *testing.T, a *daemon.Archive, round func() error) {
	self := filepath.Join(a.Dir, "machine.json")
	move(t, self)
	err := os.Mkdir(self, 0o700)
	if err == nil && round() == nil {
		t.Error("it did not fail")
	}
	if err = errors.Join(err, os.Remove(self), os.Rename(self+" away", self)); err != nil {
		t.Fatal(err)
	}
}

// away has a drive away for that long, with rounds before, and looks 20 hours after the last.
func away(r *ranch, a *daemon.Archive, days time.Duration) {
	r.moveAway("barn")
	r.now = r.now.Add(days)
	r.verify(a, daemon.VerifyOptions{})
	r.mirror(a)
	kept(r, a)
	r.now = r.now.Add(20 * time.Hour)
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
