package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/cmd/ranchdemo/ranch"
	"linecamp/cmd/ranchdemo/ranch/odd"
	"linecamp/daemon"
)

// Cards as they are drafted for every site read without fault and change nothing
// of what is found: on the practice ranch with an oddity of each kind, and on the
// awkward record without any fault.
func TestDraftsChangeNothing(t *testing.T) {
	now := time.Date(2026, 12, 20, 20, 0, 0, 0, time.Local)
	for name, draw := range map[string]func(dir string) error{
		"the practice ranch": func(dir string) error {
			r := ranch.New(1, now)
			if _, err := r.Draw(context.Background(), dir); err != nil {
				return err
			}
			_, err := odd.Make(context.Background(), r, dir, now.Add(-time.Hour))
			return err
		},
		"the bench": func(dir string) error { return drawBench(dir, now) },
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			folder, drive := filepath.Join(dir, "allotment"), filepath.Join(dir, "drive")
			if err := draw(folder); err != nil {
				t.Fatal(err)
			}
			if err := os.Mkdir(drive, 0o777); err != nil {
				t.Fatal(err)
			}
			a := openBench(t, dir, folder, drive, now)
			if _, err := a.Mirror(t.Context(), daemon.MirrorOptions{AcceptChanges: true}, nil); err != nil {
				t.Fatal(err)
			}
			found := func() (all []string) {
				t.Helper()
				r, err := a.Verify(t.Context(), daemon.VerifyOptions{Only: daemon.OnlyYears}, nil)
				if err != nil {
					t.Fatal(err)
				}
				for _, y := range r.Years {
					all = append(all, fmt.Sprint(y.Pasture, "/", y.Site, " ", y.Year, " ", y.State, " ", y.Lacks))
				}
				for _, f := range r.Findings {
					all = append(all, fmt.Sprint(f.Pasture, "/", f.Site, " ", f.Visit, " ", f.Kind, " ", f.Paths))
				}
				slices.Sort(all)
				return all
			}
			before := found()
			r, err := a.WriteSites(t.Context(), nil)
			if err != nil || len(r.Written) == 0 || r.Wants() {
				t.Fatalf("written %v, kept %+v, %v", r.Written, r.Kept, err)
			}
			for _, w := range r.Written {
				path := filepath.Join(folder, filepath.FromSlash(w.Path))
				if err := os.Chtimes(path, now.Add(-time.Hour), now.Add(-time.Hour)); err != nil {
					t.Fatal(err)
				}
			}
			after := found()
			for _, f := range after {
				if !slices.Contains(before, f) {
					t.Errorf("new: %s", f)
				}
			}
			for _, f := range before {
				if !slices.Contains(after, f) {
					t.Errorf("gone: %s", f)
				}
			}
			again, err := a.WriteSites(t.Context(), nil)
			if err != nil || len(again.Written) > 0 || again.Wants() {
				t.Errorf("again: %v, %+v, %v", again.Written, again.Kept, err)
			}
			text := ""
			if b, err := os.ReadFile(filepath.Join(folder, filepath.FromSlash(r.Written[0].Path))); err == nil {
				text = strings.TrimSpace(string(b))
			}
			t.Logf("%d written, %d years and findings the same; one of them:\n%s", len(r.Written), len(before), text)
		})
	}
}
