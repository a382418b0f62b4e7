package glance

import (
	"crypto/sha256"
	"os"
	"path/filepath"
	"testing"
	"time"

	"linecamp/manifest/tally"
	"linecamp/manifest/walk"
)

// recorded makes a set of what a folder holds, as a round would have recorded it.
func recorded(t *testing.T, folder string, but ...string) *Recorded {
	t.Helper()
	r := &Recorded{}
	skip := map[string]bool{}
	for _, b := range but {
		skip[b] = true
	}
	err := walk.Glance(t.Context(), folder, nil, func(g walk.Glimpse) {
		if !skip[g.Path] {
			r.rough = append(r.rough, rough(g.Path, g.Size, g.Modified))
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func write(t *testing.T, folder, path, text string, modified time.Time) {
	t.Helper()
	name := filepath.Join(folder, filepath.FromSlash(path))
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(name, modified, modified); err != nil {
		t.Fatal(err)
	}
}

func TestWhatNoVersionHasIsSeen(t *testing.T) {
	folder, old, now := t.TempDir(), time.Now().Add(-time.Hour), time.Now()
	for _, p := range []string{"A/1.jpg", "A/2.jpg", "B/3.jpg", ".DS_Store", "B/$RECYCLE.BIN/x"} {
		write(t, folder, p, "one", old)
	}
	all := recorded(t, folder)
	files, print, err := Print(t.Context(), folder)
	if err != nil || files != 3 {
		t.Fatalf("%d files, %v", files, err)
	}
	if read, err := tally.Read(t.Context(), tally.Options{Folder: folder}); err != nil || read.Seen != files || read.Print != print {
		t.Errorf("reading it comes to %d files, %x, and looking at it to %d, %x; %v", read.Seen, read.Print, files, print, err)
	}
	s, err := Look(t.Context(), folder, nil, all, now, now)
	if n, _ := s.Unrecorded(); err != nil || n != 0 || s.Files != 3 || s.Print != print {
		t.Errorf("nothing is new, and it says %+v, %v", s, err)
	}
	few := recorded(t, folder, "A/2.jpg")
	for name, since := range map[string]time.Time{"late": now.Add(time.Hour), "new": old} {
		s, err := Look(t.Context(), folder, nil, few, since, now)
		got := s.Late
		if name == "new" {
			got = s.New
		}
		if err != nil || got.Files != 1 || got.Bytes != 3 || got.Path != "A/2.jpg" {
			t.Errorf("%s: %+v, %v", name, s, err)
		}
	}
	write(t, folder, "A/1.jpg", "longer", now)
	if s, err = Look(t.Context(), folder, nil, all, now, now); err != nil || s.Moving.Files != 1 || s.Moving.Path != "A/1.jpg" || s.Print == print {
		t.Errorf("one is being written, and it says %+v, %v", s, err)
	}
}

// Bytes that were read count by their digest, whatever the record says of time
// and size.
func TestKnownBytesCountByTheirDigest(t *testing.T) {
	folder, old := t.TempDir(), time.Now().Add(-time.Hour)
	write(t, folder, "1.jpg", "one", old)
	var seen walk.Glimpse
	cache := cache{}
	if _, err := tally.Read(t.Context(), tally.Options{Folder: folder, Cache: cache}); err != nil {
		t.Fatal(err)
	}
	if err := walk.Glance(t.Context(), folder, cache.Folder, func(g walk.Glimpse) { seen = g }); err != nil || seen.Known != sha256.Sum256([]byte("one")) {
		t.Fatalf("it saw %+v, %v", seen, err)
	}
	for want, text := range []string{"another", "one"} {
		r := &Recorded{exact: []uint64{walk.BytesMark("", "1.jpg", sha256.Sum256([]byte(text)))}, rough: []uint64{rough("1.jpg", 3, seen.Modified)}}
		if has := r.has(seen); has != (want == 1) {
			t.Errorf("with %q recorded: %v", text, has)
		}
	}
}

type cache map[string][]walk.Known

func (c cache) Folder(dir string) ([]walk.Known, error)            { return c[dir], nil }
func (c cache) SetFolder(dir string, k []walk.Known) error         { c[dir] = k; return nil }
func (cache) FirstSeen(_ string, now time.Time) (time.Time, error) { return now, nil }

func TestAFolderThatIsNotThere(t *testing.T) {
	if _, err := Look(t.Context(), filepath.Join(t.TempDir(), "none"), nil, &Recorded{}, time.Time{}, time.Now()); err == nil {
		t.Error("it was looked through")
	}
}
