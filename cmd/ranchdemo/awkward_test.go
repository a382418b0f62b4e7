package main

import (
	"bytes"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/setup"
	"linecamp/daemon/show/text"
	"linecamp/verify"
)

// A record that is awkward in every habit and has no fault gives no finding, on
// any day of the year, and its report fits a screen.
func TestNothingIsFoundOnTheBench(t *testing.T) {
	for _, tt := range []struct {
		day string
		due []string // what can still be done: no fault
	}{
		// Every second year is even, every third was 2024; the winter's site was
		// visited in January.
		{"2026-03-01", []string{"Burn Stake 2026", "Corner again 2026", "Old Fence 2026", "Post A 2026", "Post B 2026", "Post D 2026", "Salt Trough 2026", "Spring Box 2026", "The Knoll 2026"}},
		// The year's notes are written up in October.
		{"2026-06-20", []string{"Burn Stake 2026", "Corner again 2026 note", "Old Fence 2026 note", "Post A 2026", "Post B 2026", "Post D 2026", "Salt Trough 2026 note", "Spring Box 2026 note, visit of 10-08", "The Knoll 2026"}},
		{"2026-08-15", []string{"Burn Stake 2026 note", "Corner again 2026 note", "Old Fence 2026 note", "Post A 2026 note", "Post B 2026 note", "Post D 2026 note", "Salt Trough 2026 note", "Spring Box 2026 note, visit of 10-08", "The Knoll 2026 note"}},
		{"2026-10-25", nil},
		{"2026-12-20", nil},
	} {
		t.Run(tt.day, func(t *testing.T) {
			now, err := time.ParseInLocation(time.DateOnly+" 15", tt.day+" 20", time.Local)
			if err != nil {
				t.Fatal(err)
			}
			dir := t.TempDir()
			folder, drive := filepath.Join(dir, "allotment"), filepath.Join(dir, "drive")
			if err := drawBench(folder, now); err != nil {
				t.Fatal(err)
			}
			if err := os.Mkdir(drive, 0o777); err != nil {
				t.Fatal(err)
			}
			a := openBench(t, dir, folder, drive, now)
			mirror := func() {
				t.Helper()
				r, err := a.Mirror(t.Context(), daemon.MirrorOptions{}, nil)
				if err != nil || r.Wants() {
					t.Fatalf("%+v, %v", r, err)
				}
			}
			mirror()
			// A folder gets another name, and an old picture is cropped.
			if err := os.Rename(filepath.Join(folder, "Ridge", "Knoll"), filepath.Join(folder, "Ridge", "The Knoll")); err != nil {
				t.Fatal(err)
			}
			card := filepath.Join(folder, "Ridge", "The Knoll", "site.toml")
			if err := os.WriteFile(card, []byte("formerly = [\"Knoll\"]\n"), 0o666); err != nil {
				t.Fatal(err)
			}
			if err := os.Chtimes(card, now.Add(-time.Hour), now.Add(-time.Hour)); err != nil {
				t.Fatal(err)
			}
			old, err := filepath.Glob(filepath.Join(folder, "Bench", "Post C", "2009-*plot.jpg"))
			if err != nil || len(old) != 1 {
				t.Fatal(old, err)
			}
			b, err := os.ReadFile(old[0])
			if err == nil {
				err = os.WriteFile(old[0], append(b, "cropped"...), 0o666)
			}
			if err == nil {
				err = os.Chtimes(old[0], now.Add(-time.Hour), now.Add(-time.Hour))
			}
			if err != nil {
				t.Fatal(err)
			}
			mirror()
			tallied, err := a.Tally(t.Context(), nil)
			if err != nil || len(tallied.Waiting) > 0 || len(tallied.Sites) != 13 {
				t.Fatalf("%d sites, waiting %v, %v", len(tallied.Sites), tallied.Waiting, err)
			}
			r, err := a.Verify(t.Context(), daemon.VerifyOptions{}, nil)
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range r.Findings {
				if f.Wants() {
					t.Errorf("found: %s %s %s: %s", f.Kind, f.Site, f.Visit, f.Text)
				} else {
					t.Errorf("noted: %s %s %s: %s", f.Kind, f.Site, f.Visit, f.Text)
				}
			}
			var due []string
			for _, y := range r.Years {
				switch y.State {
				case verify.Whole:
				case verify.Due:
					due = append(due, strings.TrimSpace(fmt.Sprintf("%s %d %s", y.Site, y.Year, strings.Join(y.Lacks, ", "))))
				case verify.Explained:
					if y.Site != "Burn Stake" {
						t.Errorf("%s %d is explained: %s", y.Site, y.Year, y.Why)
					}
				default:
					t.Errorf("%s %d is %s, lacks %v", y.Site, y.Year, y.State, y.Lacks)
				}
			}
			for _, a := range r.Alike {
				t.Errorf("asked: %+v", a)
			}
			if r.Wants() {
				t.Error("the exit status would be 3")
			}
			var said bytes.Buffer
			text.Print(&said, r)
			if n := strings.Count(said.String(), "\n"); n > 24 {
				t.Errorf("the report has %d lines", n)
			}
			t.Logf("%d years judged\n%s", len(r.Years), said.String())
			slices.Sort(due)
			if !slices.Equal(due, tt.due) {
				t.Errorf("due: %q, want %q", due, tt.due)
			}
		})
	}
}

func openBench(t *testing.T, dir, folder, drive string, now time.Time) *daemon.Archive {
	t.Helper()
	clock := func() time.Time { return now }
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	conf := filepath.Join(dir, "bench.toml")
	_, err := setup.Run(t.Context(), setup.Options{Archive: "threeawn-bench", Folder: folder, Config: conf, State: filepath.Join(dir, "state"), Log: log, Now: clock,
		Drives: []setup.NamedDir{{Name: "shelf", Dir: drive}}})
	if err != nil {
		t.Fatal(err)
	}
	all, faults := config.Load(conf)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	a, err := daemon.Open(all[0], daemon.Options{Log: log, Now: clock})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.Close() })
	return a
}
