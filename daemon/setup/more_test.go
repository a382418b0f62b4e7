package setup_test

import (
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/config"
	who "linecamp/daemon/identity"
	"linecamp/daemon/reach"
	"linecamp/daemon/setup"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
)

func TestAddCopy(t *testing.T) {
	d := newDesk(t)
	d.run()
	text, err := os.ReadFile(d.path("settings/saltbush-draw.toml"))
	if err != nil {
		t.Fatal(err)
	}
	o := setup.Options{Config: d.o.Config, Log: d.o.Log, Drives: []setup.NamedDir{{Name: "barn", Dir: d.path("barn")}}}
	r, err := setup.AddCopy(t.Context(), o)
	if err != nil || len(r.Copies) != 1 {
		t.Fatalf("%+v %v", r, err)
	}
	cfg := d.load()
	now, err := os.ReadFile(d.path("settings/saltbush-draw.toml"))
	if err != nil || len(cfg.Copies) != 2 || !strings.HasPrefix(string(now), string(text)) {
		t.Errorf("the config is now %s (%v)", now, err)
	}
	a, b := identity(t, d.path("shelf")), identity(t, d.path("barn"))
	if a.ArchiveID != b.ArchiveID || b.CopyID != cfg.Copies[1].ID || a.CopyID == b.CopyID {
		t.Errorf("the roots are %+v and %+v", a, b)
	}

	d.write("full/holidays.jpg", "")
	for name, c := range map[string]struct {
		drive setup.NamedDir
		is    error
	}{
		"the same name again":       {setup.NamedDir{Name: "barn", Dir: d.path("third")}, setup.ErrAnswers},
		"the same drive again":      {setup.NamedDir{Name: "third", Dir: d.path("barn")}, setup.ErrAnswers},
		"inside the working folder": {setup.NamedDir{Name: "third", Dir: d.path("monitoring/third")}, setup.ErrAnswers},
		"a place that is not empty": {setup.NamedDir{Name: "third", Dir: d.path("full")}, store.ErrNotEmpty},
		"a drive that is not here":  {setup.NamedDir{Name: "third", Dir: d.path("media/third/x")}, store.ErrNotHere},
		"a root of another archive": {setup.NamedDir{Name: "third", Dir: d.path("other")}, setup.ErrOtherArchive},
	} {
		t.Run(name, func(t *testing.T) {
			if name == "a root of another archive" {
				other := d.o
				other.Archive, other.Config, other.State = "north-fork", d.path("elsewhere/x.toml"), d.path("state2")
				other.Drives = []setup.NamedDir{{Name: "other", Dir: d.path("other")}}
				if _, err := setup.Run(t.Context(), other); err != nil {
					t.Fatal(err)
				}
			}
			o := o
			o.Drives = []setup.NamedDir{c.drive}
			if _, err := setup.AddCopy(t.Context(), o); !errors.Is(err, c.is) {
				t.Errorf("setup said %v, want %v", err, c.is)
			}
			if again, err := os.ReadFile(d.path("settings/saltbush-draw.toml")); err != nil || string(again) != string(now) {
				t.Errorf("the config was changed to %s", again)
			}
			d.missing("third/extensions", "monitoring/third")
		})
	}
}

func identity(t *testing.T, dir string) store.Identity {
	t.Helper()
	root, err := drive.Open(dir, "")
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	id, err := root.Identity(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return id
}

// Without any other copy within reach, nobody knows which archive it is.
func TestAddCopyAlone(t *testing.T) {
	d := newDesk(t)
	d.run()
	if err := os.Rename(d.path("shelf"), d.path("in the truck")); err != nil {
		t.Fatal(err)
	}
	o := setup.Options{Config: d.o.Config, Log: d.o.Log, Drives: []setup.NamedDir{{Name: "barn", Dir: d.path("barn")}}}
	if _, err := setup.AddCopy(t.Context(), o); !errors.Is(err, reach.ErrNoReach) {
		t.Errorf("setup said %v", err)
	}
	d.missing("barn/extensions")
}

func mirrorAs(t *testing.T, cfg config.Archive, d *desk) daemon.MirrorReport {
	t.Helper()
	a, err := daemon.Open(cfg, daemon.Options{Log: d.o.Log})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	m, err := a.Mirror(t.Context(), daemon.MirrorOptions{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// The office computer is replaced: the new one records only after it took
// over, and the old one never again.
func TestTakeOver(t *testing.T) {
	d := newDesk(t)
	d.o.Drives = append(d.o.Drives, setup.NamedDir{Name: "barn", Dir: d.path("barn")})
	d.run()
	old := d.load()
	dateBack(t, d, "monitoring/Windmill/Stake 3/2024-06-21/plot.jpg")
	if m := mirrorAs(t, old, d); m.Made != 1 {
		t.Fatalf("the old computer recorded %+v", m)
	}

	// Another computer has a state folder, and so an id, of its own.
	d.write("new state/machine.json", `{"author": "6fd8f5d6-22dc-4fd8-9d0a-5a2f0e4ff3a1", "machine": "new-office"}`)
	if err := os.Rename(d.path("settings"), d.path("old settings")); err != nil {
		t.Fatal(err)
	}
	d.o.State = d.path("new state")
	d.run()
	now := d.load()
	d.write("monitoring/Windmill/Stake 3/2025-06-21/plot.jpg", "another picture")
	dateBack(t, d, "monitoring/Windmill/Stake 3/2025-06-21/plot.jpg")
	if m := mirrorAs(t, now, d); m.Made != 0 || !m.Wants() {
		t.Errorf("it recorded without having taken over: %+v", m)
	}

	r, err := setup.TakeOver(t.Context(), setup.Options{Config: d.o.Config, Log: d.o.Log})
	if err != nil {
		t.Fatal(err)
	}
	if r.Author == nil || r.Author.Epoch != 2 || r.Author.Machine != "new-office" || len(r.Author.Copies) != 2 || r.Author.Was == "" {
		t.Errorf("the report is %+v", r.Author)
	}
	seal, err := os.ReadFile(d.path("shelf/extensions/linecamp-seal/log/00000.txt"))
	id, ierr := who.Known(d.path("new state"))
	if err != nil || ierr != nil || !strings.Contains(string(seal), "author "+id+" 2") {
		t.Errorf("the seal is %s (%v)", seal, err)
	}
	if m := mirrorAs(t, now, d); m.Made != 1 || m.Wants() {
		t.Errorf("after taking over: %+v", m)
	}
	d.write("monitoring/Windmill/Stake 3/2025-09-21/plot.jpg", "a third picture")
	dateBack(t, d, "monitoring/Windmill/Stake 3/2025-09-21/plot.jpg")
	if m := mirrorAs(t, old, d); m.Made != 0 || !m.Wants() {
		t.Errorf("the old computer went on recording: %+v", m)
	}
	if m := mirrorAs(t, now, d); m.Made != 1 {
		t.Errorf("the new computer stopped: %+v", m)
	}
}

// dateBack dates a file back, so that it does not count as still being written.
func dateBack(t *testing.T, d *desk, path string) {
	t.Helper()
	old := time.Date(2025, 12, 1, 8, 0, 0, 0, time.UTC)
	if err := os.Chtimes(d.path(path), old, old); err != nil {
		t.Fatal(err)
	}
}
