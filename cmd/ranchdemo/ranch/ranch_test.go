package ranch

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"
)

const testSeed = 2009 // the one the practice ranch is drawn with

var testNow = time.Date(2026, time.November, 25, 12, 0, 0, 0, time.UTC)

// drawn is one whole ranch, drawn once for all tests that read it.
var drawn = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "ranch-test-")
	if err != nil {
		return "", err
	}
	_, err = New(testSeed, testNow).Draw(context.Background(), dir)
	return dir, err
})

func TestMain(m *testing.M) {
	code := m.Run()
	if drawnUsed {
		if dir, _ := drawn(); dir != "" {
			os.RemoveAll(dir)
		}
	}
	os.Exit(code)
}

var drawnUsed bool

func tree(t *testing.T) (string, *Ranch) {
	t.Helper()
	drawnUsed = true
	dir, err := drawn()
	if err != nil {
		t.Fatal(err)
	}
	return dir, New(testSeed, testNow)
}

func TestEveryYearIsThereButTheFlaws(t *testing.T) {
	dir, r := tree(t)
	lacks := func(list []SiteYear, s *Site, year int) bool {
		for _, f := range list {
			if f == (SiteYear{s.Pasture, s.Name, year}) {
				return true
			}
		}
		return false
	}
	pastures := map[string]bool{}
	for _, s := range r.Sites {
		pastures[s.Pasture] = true
		for year := FirstYear; year <= testNow.Year(); year++ {
			days, err := filepath.Glob(filepath.Join(dir, s.Pasture, s.Name, time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC).Format("2006")+"-08-*"))
			if err != nil {
				t.Fatal(err)
			}
			if lacks(r.Flaws.Skipped, s, year) {
				if len(days) != 0 {
					t.Errorf("%s %d was to be skipped, found %v", s.Name, year, days)
				}
				continue
			}
			if len(days) != 1 {
				t.Errorf("%s %d: want one visit in August, found %v", s.Name, year, days)
				continue
			}
			for name, flawed := range map[string]bool{
				"plot.jpg":      false,
				"landscape.jpg": lacks(r.Flaws.NoLandscape, s, year),
				"notes.txt":     lacks(r.Flaws.NoNote, s, year),
			} {
				_, err := os.Stat(filepath.Join(days[0], name))
				if there := err == nil; there == flawed {
					t.Errorf("%s %d: %s there %v, meant to be lacking %v", s.Name, year, name, there, flawed)
				}
			}
		}
	}
	if len(r.Sites) != 6 || len(pastures) != 3 {
		t.Errorf("%d sites in %d pastures, want 6 in 3", len(r.Sites), len(pastures))
	}
	f := r.Flaws
	if len(f.Skipped) != 1 || len(f.NoLandscape) != 1 || len(f.NoNote) != 1 {
		t.Errorf("flaws: %+v, want one of each", f)
	}
}

func TestSameSeedSameBytes(t *testing.T) {
	dir, _ := tree(t) // drawn in parallel, in whatever order
	again := New(testSeed, testNow)
	other := New(testSeed+1, testNow)
	for i := 0; i < len(again.Visits); i += 23 {
		v := again.Visits[i]
		for _, view := range []string{"plot", "landscape"} {
			if view == "landscape" && v.NoLandscape {
				continue
			}
			name := filepath.Join(dir, v.Folder(), view+".jpg")
			first, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			second, err := again.Picture(v, view)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(first, second) {
				t.Errorf("%s: drawn twice, two different pictures", name)
			}
			third, err := other.Picture(other.Visits[i], view)
			if err != nil {
				t.Fatal(err)
			}
			if bytes.Equal(first, third) {
				t.Errorf("%s: another seed drew the same picture", name)
			}
		}
		if note, err := os.ReadFile(filepath.Join(dir, v.Folder(), "notes.txt")); !v.NoNote && (err != nil || string(note) != v.notes(testSeed)) {
			t.Errorf("%s: notes differ, or %v", v.Folder(), err)
		}
	}
}

func TestFileTimesAreTheAfternoonOfTheVisit(t *testing.T) {
	dir, _ := tree(t)
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.Contains(path, "grazing plan") {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		local := info.ModTime().In(Zone)
		if day := filepath.Base(filepath.Dir(path)); local.Format(time.DateOnly) != day || local.Hour() < 12 || local.Hour() > 17 {
			t.Errorf("%s: time %v, want the afternoon of %s", path, local, day)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestNotesTouchEveryTopic(t *testing.T) {
	dir, r := tree(t)
	topics := map[string]*regexp.Regexp{
		"place":    regexp.MustCompile(`(?m)^Place: .*stake|^Place: .*T-post.*\d\.\d+ N`),
		"weather":  regexp.MustCompile(`(?m)^Rain and sky: .*\d in since.*\d F`),
		"grazing":  regexp.MustCompile(`(?m)^Cattle: .*(rested|pair)`),
		"weeds":    regexp.MustCompile(`(?m)^Weeds: \w`),
		"wildlife": regexp.MustCompile(`(?m)^Wildlife: \w`),
		"fire":     regexp.MustCompile(`(?m)^Fire: .*(fire|none)`),
		"board":    regexp.MustCompile(`(?m)^Stake: .*[Hh]oop.*[Bb]oard`),
		"hoop":     regexp.MustCompile(`(?m)^In the hoop: .*9\.6 square foot hoop about \d+ percent`),
	}
	texts := map[string]bool{}
	for _, v := range r.Visits {
		if v.NoNote {
			continue
		}
		b, err := os.ReadFile(filepath.Join(dir, v.Folder(), "notes.txt"))
		if err != nil {
			t.Fatal(err)
		}
		for topic, re := range topics {
			if !re.Match(b) {
				t.Errorf("%s: nothing on %s in\n%s", v.Folder(), topic, b)
			}
		}
		if v.CapMissing != strings.Contains(string(b), "hazard to tires") {
			t.Errorf("%s: cap missing %v, but the note says otherwise", v.Folder(), v.CapMissing)
		}
		texts[string(b[bytes.Index(b, []byte("In the hoop")):])] = true
	}
	if len(texts) < len(r.Visits)*9/10 {
		t.Errorf("only %d different notes for %d visits", len(texts), len(r.Visits))
	}
}

func TestNothingIsDrawnAheadOfItsDay(t *testing.T) {
	r := New(testSeed, time.Date(2015, time.March, 1, 0, 0, 0, 0, time.UTC))
	for _, v := range r.Visits {
		if v.Year > 2014 {
			t.Errorf("%s is in the future", v.Folder())
		}
	}
	if len(r.Flaws.Skipped) != 1 || len(r.Flaws.NoLandscape) != 0 || len(r.Flaws.NoNote) != 0 {
		t.Errorf("flaws up to March 2015: %+v", r.Flaws)
	}
	full := New(testSeed, testNow)
	for i, v := range r.Visits { // later years leave earlier ones as they were
		if w := full.Visits[i]; w.Folder() != v.Folder() || w.Cover != v.Cover {
			t.Errorf("visit %d: %s then, %s now", i, v.Folder(), w.Folder())
		}
	}
}

func TestDrawRefusesAFolderInUse(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "mine.txt"), nil, 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := New(1, testNow).Draw(context.Background(), dir); !errors.Is(err, ErrNotEmpty) {
		t.Errorf("got %v, want ErrNotEmpty", err)
	}
	if left, _ := os.ReadDir(dir); len(left) != 1 {
		t.Errorf("left %v behind", left)
	}
}

func TestDrawStopsWhenCanceled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := New(1, testNow).Draw(ctx, t.TempDir()); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want context.Canceled", err)
	}
}
