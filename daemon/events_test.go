package daemon_test

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/event"
)

// ear is a sink that remembers, in few words.
type ear struct {
	mu    sync.Mutex
	heard []string
}

func (e *ear) take(t event.Told) {
	e.mu.Lock()
	defer e.mu.Unlock()
	text := strings.TrimPrefix(fmt.Sprintf("%T", t.Event), "event.")
	switch x := t.Event.(type) {
	case event.RoundBegan:
		text += " " + x.Round
	case event.RoundEnded:
		text += " " + x.Round + " " + x.Outcome
		for _, c := range x.Copies {
			text += fmt.Sprintf(" %s:%d", c.Copy, c.Files)
		}
	case event.DamageFound:
		text += fmt.Sprintf(" %s %d", x.Copy, x.Files)
	case event.DamageGone:
		text += fmt.Sprintf(" %s %d", x.Copy, x.Files)
	case event.CopyWentAway:
		text += " " + x.Copy + " " + x.State
	case event.CopyCameBack:
		text += " " + x.Copy
	case event.CopyBecameCurrent:
		text += " " + x.Copy
	case event.AttentionArose:
		text += " " + string(x.Kind)
	case event.AttentionEnded:
		text += " " + string(x.Kind)
	case event.Waits:
		text += fmt.Sprintf(" %d %t", x.Files, x.Person)
	}
	e.heard = append(e.heard, text)
}

// round opens the archive, does one thing with it, and returns what was told.
func (r *ranch) told(do func(a *daemon.Archive)) []string {
	r.t.Helper()
	var e ear
	a, err := daemon.Open(r.load(), daemon.Options{Log: quiet(), Now: r.clock, Sinks: []event.Sink{e.take}})
	if err != nil {
		r.t.Fatal(err)
	}
	do(a)
	if err := a.Close(); err != nil {
		r.t.Fatal(err)
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.heard
}

func TestRoundsTellWhatHappened(t *testing.T) {
	r := newRanch(t, "shelf", "barn").setup()
	mirror := func(a *daemon.Archive) { r.mirror(a) }
	scheduled := func(kind string) func(*daemon.Archive) {
		return func(a *daemon.Archive) {
			if err := a.Round(t.Context(), kind); err != nil {
				t.Fatal(err)
			}
		}
	}
	onShelf := filepath.Join(r.drive("shelf"), filepath.FromSlash(plot2024))
	for _, step := range []struct {
		name   string
		before func()
		do     func(*daemon.Archive)
		want   []string
		never  string
	}{
		{"the first round", nil, mirror, []string{"RoundBegan mirror", "CopyBecameCurrent shelf", "CopyBecameCurrent barn", "RoundEnded mirror well shelf:18 barn:18"}, "CopyCameBack"},
		{"nothing new", nil, mirror, []string{"RoundBegan mirror", "RoundEnded mirror well shelf:0 barn:0"}, "Copy"},
		{"rot, found and mended", func() { r.spoil(onShelf) }, scheduled("verify"),
			[]string{"RoundBegan verify", "DamageFound shelf 1", "AttentionArose damage", "RoundEnded verify wants shelf:17 barn:18 working:18", "RoundBegan mend", "DamageGone shelf 1", "RoundEnded mend well shelf:1"}, ""},
		{"attention ends", nil, mirror, []string{"AttentionEnded damage"}, "Damage"},
		{"a drive is unplugged", func() { r.moveAway("barn") }, mirror, []string{"CopyWentAway barn away"}, "Attention"},
		{"and stays away", nil, mirror, []string{"RoundEnded mirror wants shelf:0 barn:0"}, "CopyWentAway"},
		{"it comes back", func() { r.moveBack("barn") }, mirror, []string{"CopyCameBack barn", "CopyBecameCurrent barn"}, "CopyWentAway"},
		{"most of the folder goes", func() {
			os.RemoveAll(filepath.Join(r.folder, "Windmill"))
			os.RemoveAll(filepath.Join(r.folder, "North Draw", "Post 1", "2024-06-21"))
		}, mirror, []string{"Waits 12 true", "AttentionArose change-waits", "RoundEnded mirror wants"}, ""},
	} {
		t.Run(step.name, func(t *testing.T) {
			if step.before != nil {
				step.before()
			}
			r.now = r.now.Add(time.Hour)
			heard := r.told(step.do)
			at := 0
			for _, want := range step.want {
				i := slices.IndexFunc(heard[at:], func(h string) bool { return strings.HasPrefix(h, want) })
				if i < 0 {
					t.Fatalf("%q was not told, or not in its order:\n%s", want, strings.Join(heard, "\n"))
				}
				at += i + 1
			}
			if step.never != "" && slices.ContainsFunc(heard, func(h string) bool { return strings.HasPrefix(h, step.never) }) {
				t.Errorf("%s was told too:\n%s", step.never, strings.Join(heard, "\n"))
			}
		})
	}
	kept := 0
	for _, err := range event.Read(filepath.Join(r.dir, "state")) {
		if kept++; err != nil {
			t.Error(err)
		}
	}
	if kept == 0 {
		t.Error("the state folder keeps no event")
	}
}

// A sink that never returns, and one that panics, stop no round.
func TestNoSinkStopsARound(t *testing.T) {
	r := newRanch(t, "shelf").setup()
	hang := make(chan struct{})
	t.Cleanup(func() { close(hang) })
	a, err := daemon.Open(r.load(), daemon.Options{Log: quiet(), Now: r.clock, Sinks: []event.Sink{
		func(event.Told) { <-hang }, func(event.Told) { panic("a fault of its own") },
	}})
	if err != nil {
		t.Fatal(err)
	}
	if m := r.mirror(a); m.Copies[0].State != "current" {
		t.Errorf("the round came to %s", printed(m))
	}
	if err := a.Close(); err != nil {
		t.Error(err)
	}
}

// A round that cannot be done says why in its last event.
func TestFailedRoundIsTold(t *testing.T) {
	r := newRanch(t, "shelf").setup()
	heard := r.told(func(a *daemon.Archive) {
		if err := os.Chmod(filepath.Join(r.dir, "state"), 0o700); err != nil {
			t.Fatal(err)
		}
		os.Remove(filepath.Join(r.dir, "state", "authoring.lock"))
		if err := os.Mkdir(filepath.Join(r.dir, "state", "authoring.lock"), 0o700); err != nil {
			t.Fatal(err)
		}
		if _, err := a.Mirror(t.Context(), daemon.MirrorOptions{}, nil); err == nil {
			t.Error("the round ended without an error")
		}
	})
	if !slices.Contains(heard, "RoundEnded mirror failed") {
		t.Errorf("told was\n%s", strings.Join(heard, "\n"))
	}
}

func (r *ranch) moveAway(drive string) {
	r.t.Helper()
	if err := os.Rename(r.drive(drive), r.drive(drive)+".elsewhere"); err != nil {
		r.t.Fatal(err)
	}
}

func (r *ranch) moveBack(drive string) {
	r.t.Helper()
	if err := os.Rename(r.drive(drive)+".elsewhere", r.drive(drive)); err != nil {
		r.t.Fatal(err)
	}
}
