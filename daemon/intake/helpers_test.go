package intake

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/layout"
	"linecamp/manifest/tally"
)

// put writes files with a time well in the past. A path's bytes are "photo "
// and the path, unless it is given with them after a "=".
func put(t *testing.T, root string, paths ...string) {
	t.Helper()
	for _, p := range paths {
		p, text, ok := strings.Cut(p, "=")
		if !ok {
			text = "photo " + p
		}
		name := filepath.Join(root, filepath.FromSlash(p))
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		at := time.Date(2020, 5, 4, 3, 2, 1, 987654321, time.UTC)
		if err := os.Chtimes(name, at, at); err != nil {
			t.Fatal(err)
		}
	}
}

// archiveAt reads a working folder.
func archiveAt(t *testing.T, folder, pattern string) *Archive {
	t.Helper()
	r, err := tally.Read(context.Background(), tally.Options{Folder: folder, Layout: pattern})
	if err != nil {
		t.Fatal(err)
	}
	l, err := layout.New(pattern, nil, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	has := digests(r)
	return &Archive{Name: "test", Folder: folder, Tally: r, Layout: l, Has: func(d manifest.Digest) bool { return has[d] }}
}

// listed is every file below a folder: path, bytes, size and time.
func listed(t *testing.T, root string) map[string]string {
	t.Helper()
	all := map[string]string{}
	err := filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(root, p)
		line := fmt.Sprint(info.Mode(), " ")
		if d.Type().IsRegular() {
			b, err := os.ReadFile(p)
			if err != nil {
				return err
			}
			line += fmt.Sprintf("%d %s %x", info.Size(), info.ModTime().UTC().Format(time.RFC3339Nano), sha256.Sum256(b))
		}
		all[filepath.ToSlash(rel)] = line
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func propose(t *testing.T, card string, a *Archive, o Options) *Plan {
	t.Helper()
	c, err := ReadCard(context.Background(), card, time.Now(), nil)
	if err != nil {
		t.Fatal(err)
	}
	p, err := Propose(context.Background(), c, []*Archive{a}, o)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// at makes a shot taken at a time, and east of a reference by meters if they
// are not negative.
func at(clock string, east float64) *shot {
	wall, err := time.Parse("2006-01-02 15:04", clock)
	if err != nil {
		panic(err)
	}
	s := &shot{File: tally.File{Path: clock}, wall: wall, instant: wall, day: clock[:10], by: ByPosition}
	if east >= 0 {
		s.at = east_(east)
	}
	return s
}

// east_ is a spot on the equator, where a degree of longitude is
// 2π·6371008.8 m / 360.
func east_(m float64) spot { return spot{lon: m / 111195.08, known: true} }

// digests is the set of what a tally read.
func digests(r *tally.Result) map[manifest.Digest]bool {
	set := map[manifest.Digest]bool{}
	for _, f := range everyFile(r) {
		set[f.SHA256] = true
	}
	return set
}
