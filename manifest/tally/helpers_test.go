package tally

import (
	"context"
	"encoding/binary"
	"os"
	"path/filepath"
	"sort"
	"sync"
	"testing"
	"time"

	"linecamp/manifest/walk"
)

// today is the day the tests take place on.
var today = time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)

// memory is a Cache in memory that counts what it is asked.
type memory struct {
	mu      sync.Mutex
	folders map[string][]walk.Known
	first   map[string]time.Time
	sets    int
	fail    error
}

func newMemory() *memory {
	return &memory{folders: map[string][]walk.Known{}, first: map[string]time.Time{}}
}

func (m *memory) Folder(dir string) ([]walk.Known, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return append([]walk.Known(nil), m.folders[dir]...), m.fail
}

func (m *memory) SetFolder(dir string, known []walk.Known) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.sets++
	if known == nil {
		delete(m.folders, dir)
	} else {
		m.folders[dir] = append([]walk.Known(nil), known...)
	}
	for _, k := range known {
		p := k.Name
		if dir != "" {
			p = dir + "/" + p
		}
		delete(m.first, p)
	}
	return m.fail
}

func (m *memory) FirstSeen(path string, now time.Time) (time.Time, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if t, ok := m.first[path]; ok {
		return t, m.fail
	}
	m.first[path] = now
	return now, m.fail
}

// put writes a file that was last changed an hour before today.
func put(t testing.TB, root, path string, content []byte) {
	t.Helper()
	full := filepath.Join(root, filepath.FromSlash(path))
	if err := os.MkdirAll(filepath.Dir(full), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(full, content, 0o644); err != nil {
		t.Fatal(err)
	}
	old := today.Add(-time.Hour)
	if err := os.Chtimes(full, old, old); err != nil {
		t.Fatal(err)
	}
}

// tree makes a working folder of files; a path's content is a photo with the
// EXIF date it is mapped to, else its own path.
func tree(t testing.TB, files map[string]string) string {
	t.Helper()
	root := t.TempDir()
	for p, date := range files {
		content := []byte("content of " + p)
		if date != "" {
			content = append(jpegWith(exifBlock(date)), p...)
		}
		put(t, root, p, content)
	}
	return root
}

func read(t testing.TB, o Options) *Result {
	t.Helper()
	if o.Now == nil {
		o.Now = func() time.Time { return today }
	}
	r, err := Read(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// where is where every file of a result is: "pasture/site@visit" or "unfiled",
// "waiting".
func where(r *Result) map[string][]string {
	m := map[string][]string{}
	for i := range r.Sites {
		s := &r.Sites[i]
		for f := range s.Files() {
			m[f.Path] = append(m[f.Path], s.Pasture+"/"+s.Site+"@"+f.Visit)
		}
	}
	for f := range r.Unfiled.All() {
		m[f.Path] = append(m[f.Path], "unfiled")
	}
	for _, w := range r.Waiting {
		m[w.Path] = append(m[w.Path], "waiting")
	}
	return m
}

func wantWhere(t *testing.T, r *Result, want map[string]string) {
	t.Helper()
	got := where(r)
	paths := make([]string, 0, len(want))
	for p := range want {
		paths = append(paths, p)
	}
	sort.Strings(paths)
	for _, p := range paths {
		if len(got[p]) != 1 || got[p][0] != want[p] {
			t.Errorf("%q is at %q, want %q", p, got[p], want[p])
		}
		delete(got, p)
	}
	for p, w := range got {
		t.Errorf("%q is at %q, not expected at all", p, w)
	}
}

// exifBlock is a little-endian TIFF (Exif, CIPA DC-008) whose one Exif tag is
// DateTimeOriginal.
func exifBlock(original string) []byte {
	le := binary.LittleEndian
	b := append([]byte("II*\x00"), 8, 0, 0, 0)
	entry := func(id, kind uint16, count, value uint32) {
		b = le.AppendUint16(b, 1) // entries in the directory
		b = le.AppendUint32(le.AppendUint16(le.AppendUint16(b, id), kind), count)
		b = le.AppendUint32(le.AppendUint32(b, value), 0) // and no further directory
	}
	const size = 2 + 12 + 4
	entry(0x8769, 4, 1, 8+size)
	entry(0x9003, 2, uint32(len(original)+1), 8+2*size)
	return append(append(b, original...), 0)
}

// jpegWith is the start of a JPEG with an APP1 segment, and an end.
func jpegWith(exif []byte) []byte {
	b := binary.BigEndian.AppendUint16([]byte{0xff, 0xd8, 0xff, 0xe1}, uint16(2+6+len(exif)))
	b = append(append(b, "Exif\x00\x00"...), exif...)
	return append(b, 0xff, 0xd9)
}
