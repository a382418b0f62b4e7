package daemon_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
)

// A whole disk was cloned: two computers have one state folder, the same in every
// respect. Both are told; the one that a person names records on, under a name of
// its own, and the other stops.
func TestAClonedComputerIsToldAndTakesOver(t *testing.T) {
	r := newRanch(t, "shelf").bucket().setup()
	state, one, two := r.set.State, filepath.Join(r.dir, "one"), filepath.Join(r.dir, "two")
	a := r.open()
	r.mirror(a)
	a.Close()
	move := func(from, to string) {
		t.Helper()
		if err := os.Rename(from, to); err != nil {
			t.Fatal(err)
		}
	}
	as := func(home string) func() { // the computer whose disk has that state folder
		move(home, state)
		r.now = r.now.Add(time.Hour)
		return func() { move(state, home) }
	}
	if err := os.CopyFS(two, os.DirFS(state)); err != nil {
		t.Fatal(err)
	}
	move(state, one)

	off := as(one)
	a = r.open()
	r.photo("Windmill/Stake 3/2026-06-20/plot.jpg")
	if m := r.mirror(a); m.Made != 1 || len(m.Asks) > 0 {
		t.Errorf("the first computer: %s", printed(m))
	}
	a.Close()
	off()

	off = as(two)
	a = r.open()
	r.photo("Windmill/Stake 3/2026-06-20/landscape.jpg")
	m := r.mirror(a)
	if m.Made != 1 || !slices.Contains(m.Asks, authority.AskTwin) || !m.Wants() {
		t.Errorf("the second computer: %s", printed(m))
	}
	if m = r.mirror(a); !slices.Contains(m.Asks, authority.AskTwin) {
		t.Errorf("it was asked once, and nobody answered: %s", printed(m))
	}
	taken, err := a.TakeOver(t.Context())
	if err != nil || taken.Already || taken.Epoch != 2 {
		t.Fatalf("taking over: %+v, %v", taken, err)
	}
	r.photo("Windmill/Stake 3/2026-06-20/north.jpg")
	if m = r.mirror(a); m.Made != 1 || m.Wants() {
		t.Errorf("after taking over: %s", printed(m))
	}
	a.Close()
	off()

	defer as(one)()
	a = r.open()
	r.photo("Windmill/Stake 3/2026-06-20/south.jpg")
	if m = r.mirror(a); m.Made != 0 || !strings.Contains(printed(m), "setup --take-over") {
		t.Errorf("the first computer goes on: %s", printed(m))
	}
	a.Close()
}

// A computer is put back from last week's backup. It goes on by itself, and asks
// whether that is what happened.
func TestAComputerPutBackFromABackupGoesOn(t *testing.T) {
	r := newRanch(t, "shelf").bucket().setup()
	backup := filepath.Join(r.dir, "backup")
	a := r.open()
	r.mirror(a)
	a.Close()
	if err := os.CopyFS(backup, os.DirFS(r.set.State)); err != nil {
		t.Fatal(err)
	}
	a = r.open()
	r.photo("Windmill/Stake 3/2026-06-20/plot.jpg")
	r.now = r.now.Add(time.Hour)
	r.mirror(a)
	a.Close()
	if err := os.RemoveAll(r.set.State); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(backup, r.set.State); err != nil {
		t.Fatal(err)
	}
	a = r.open()
	defer a.Close()
	r.photo("Windmill/Stake 3/2026-06-20/landscape.jpg")
	r.now = r.now.Add(time.Hour)
	m := r.mirror(a)
	if m.Made != 1 || !slices.Equal(m.Asks, []report.Ask{authority.AskTwin}) {
		t.Errorf("after the backup was put back: %s", printed(m))
	}
	for _, c := range m.Copies {
		if c.State != reach.Current {
			t.Errorf("%s is %s: %s", c.Copy, c.State, c.Error)
		}
	}
	answered(t, r, a)
}

// answered accepts what is asked, which ends the question.
func answered(t *testing.T, r *ranch, a *daemon.Archive) {
	t.Helper()
	if _, err := a.Mirror(t.Context(), daemon.MirrorOptions{AcceptChanges: true, Why: "put back"}, nil); err != nil {
		t.Fatal(err)
	}
	if m := r.mirror(a); len(m.Asks) > 0 || m.Wants() {
		t.Errorf("it was answered, and is asked again: %s", printed(m))
	}
}

// A second state folder, for example the service's beside a person's own, is
// another author: it does not record until a person says so.
func TestASecondStateFolderOnOneComputerDoesNotRecord(t *testing.T) {
	r := newRanch(t, "shelf").setup()
	a := r.open()
	r.mirror(a)
	cfg := r.load()
	cfg.State = filepath.Join(r.dir, "a second state folder")
	b, err := daemon.Open(cfg, daemon.Options{Log: quiet(), Now: r.clock})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	r.photo("Windmill/Stake 3/2026-06-20/plot.jpg")
	r.now = r.now.Add(time.Hour)
	if m := r.mirror(b); m.Made != 0 || !m.Wants() || !strings.Contains(printed(m), "another state folder records this archive") {
		t.Errorf("the second folder: %s", printed(m))
	}
	if m := r.mirror(a); m.Made != 1 || m.Wants() {
		t.Errorf("the first folder: %s", printed(m))
	}
}
