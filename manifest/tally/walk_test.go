package tally

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/cespare/xxhash/v2"
	"pgregory.net/rapid"

	"linecamp/manifest"
	"linecamp/manifest/layout"
	"linecamp/manifest/walk"
	"linecamp/manifest/within"
)

func touch(t testing.TB, root, path string, when time.Time) {
	t.Helper()
	if err := os.Chtimes(filepath.Join(root, path), when, when); err != nil {
		t.Fatal(err)
	}
}

func TestNoFolder(t *testing.T) {
	root := tree(t, map[string]string{"file": ""})
	for _, p := range []string{filepath.Join(root, "absent"), filepath.Join(root, "file"), ""} {
		if _, err := Read(context.Background(), Options{Folder: p}); !errors.Is(err, walk.ErrNoFolder) {
			t.Errorf("%q: error %v", p, err)
		}
	}
	if _, err := Read(context.Background(), Options{Folder: root, Layout: "{x}"}); !errors.Is(err, layout.ErrPattern) {
		t.Errorf("error %v", err)
	}
}

func TestEmptyArchive(t *testing.T) {
	r := read(t, Options{Folder: t.TempDir()})
	if r.Files != 0 || len(r.Sites)+r.Unfiled.Len()+len(r.Waiting) != 0 {
		t.Errorf("%+v", r)
	}
}

// TestHashes compares SHA-256 with the sha256sum program on the same files,
// and both hashes with their packages over the whole content at once.
func TestHashes(t *testing.T) {
	root := t.TempDir()
	rnd := rand.NewChaCha8([32]byte{1})
	const blockSize = 256 << 10 // that files are read by
	for _, n := range []int{0, 1, 63, 64, blockSize - 1, blockSize, blockSize + 1, 3*blockSize + 17} {
		b := make([]byte, n)
		rnd.Read(b)
		put(t, root, fmt.Sprintf("W/2019/%d.jpg", n), b)
	}
	r := read(t, Options{Folder: root})
	want := map[string]string{}
	if tool, err := exec.LookPath("sha256sum"); err == nil {
		args := []string{}
		for f := range r.Sites[0].Files() {
			args = append(args, f.Path)
		}
		cmd := exec.Command(tool, args...)
		cmd.Dir = root
		out, err := cmd.Output()
		if err != nil {
			t.Fatal(err)
		}
		for l := range strings.Lines(string(out)) {
			sum, path, _ := strings.Cut(strings.TrimSuffix(l, "\n"), "  ")
			want[path] = sum
		}
	}
	n := 0
	for f := range r.Sites[0].Files() {
		b, err := os.ReadFile(filepath.Join(root, f.Path))
		if err != nil {
			t.Fatal(err)
		}
		if f.SHA256 != sha256.Sum256(b) || f.XXH64 != xxhash.Sum64(b) || f.Size != int64(len(b)) {
			t.Errorf("%s: hashes or size are wrong", f.Path)
		}
		if len(want) > 0 && want[f.Path] != f.SHA256.String() {
			t.Errorf("%s: SHA-256 %s, sha256sum says %s", f.Path, f.SHA256, want[f.Path])
		}
		n++
	}
	if n != 8 {
		t.Errorf("%d files", n)
	}
}

// TestSecondTallyReadsNothing: with nothing changed no content is read. The
// content is replaced behind the tally's back with size and all times as they
// were, so that a read could not go unnoticed.
func TestSecondTallyReadsNothing(t *testing.T) {
	root := tree(t, map[string]string{"W/2019/a.jpg": june21, "W/2019/b.jpg": "", "W/n.txt": "", "top": ""})
	m := newMemory()
	first := read(t, Options{Folder: root, Cache: m})
	if first.HashedFiles != 4 || first.HashedBytes != first.Bytes {
		t.Fatalf("read %d files, %d of %d bytes", first.HashedFiles, first.HashedBytes, first.Bytes)
	}
	for dir, known := range m.folders {
		for i := range known {
			m.folders[dir][i].XXH64 = 42 // what only the cache can know
		}
	}
	sets := m.sets
	second := read(t, Options{Folder: root, Cache: m})
	if second.HashedFiles != 0 || second.HashedBytes != 0 || m.sets != sets {
		t.Errorf("read %d files, told the cache %d times", second.HashedFiles, m.sets-sets)
	}
	n := 0
	for i := range second.Sites {
		for f := range second.Sites[i].Files() {
			if f.XXH64 != 42 || f.SHA256.IsZero() {
				t.Errorf("%s is not from the cache", f.Path)
			}
			if f.Path == "W/2019/a.jpg" && f.Visit != "2019-06-21" {
				t.Errorf("the date is not from the cache")
			}
			n++
		}
	}
	if n != 3 || second.Unfiled.List()[0].XXH64 != 42 {
		t.Errorf("%d files of sites", n)
	}
}

func TestChangesAreRead(t *testing.T) {
	for name, change := range map[string]func(t *testing.T, full string){
		"size": func(t *testing.T, full string) {
			write(t, full, "something longer than it was")
		},
		"time": func(t *testing.T, full string) {
			if err := os.Chtimes(full, today, today.Add(-2*time.Hour)); err != nil {
				t.Fatal(err)
			}
		},
		"another file of equal size and time": func(t *testing.T, full string) {
			write(t, full+"x", "CONTENT OF W/2019/a.jpg")
			if err := os.Rename(full+"x", full); err != nil {
				t.Fatal(err)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			root := tree(t, map[string]string{"W/2019/a.jpg": "", "W/2019/b.jpg": ""})
			m := newMemory()
			read(t, Options{Folder: root, Cache: m})
			full := filepath.Join(root, "W/2019/a.jpg")
			change(t, full)
			r := read(t, Options{Folder: root, Cache: m})
			if r.HashedFiles != 1 {
				t.Errorf("read %d files", r.HashedFiles)
			}
			b, err := os.ReadFile(full)
			if err != nil {
				t.Fatal(err)
			}
			if got := r.Sites[0].Visits[0].Photos.List()[0].SHA256; got != manifest.Sum(b) {
				t.Errorf("its digest is not of what is there now")
			}
			if r := read(t, Options{Folder: root, Cache: m}); r.HashedFiles != 0 {
				t.Errorf("then read %d files again", r.HashedFiles)
			}
		})
	}
}

func write(t testing.TB, full, content string) {
	t.Helper()
	if err := os.WriteFile(full, []byte(content), 0o644); err != nil {
		t.Fatal(err)
	}
	old := today.Add(-time.Hour)
	if err := os.Chtimes(full, old, old); err != nil {
		t.Fatal(err)
	}
}

func TestForgets(t *testing.T) {
	root := tree(t, map[string]string{"W/2019/a.jpg": "", "W/2019/b.jpg": "", "X/c.txt": ""})
	m := newMemory()
	read(t, Options{Folder: root, Cache: m})
	os.Remove(filepath.Join(root, "W/2019/b.jpg"))
	os.Remove(filepath.Join(root, "X/c.txt"))
	read(t, Options{Folder: root, Cache: m})
	if len(m.folders["W/2019"]) != 1 || m.folders["X"] != nil {
		t.Errorf("the cache still has %v", m.folders)
	}
}

func TestFreshFilesWait(t *testing.T) {
	root := tree(t, map[string]string{"W/2019/a.jpg": "", "W/2019/b.jpg": ""})
	m := newMemory()
	now := today
	o := Options{Folder: root, Cache: m, Now: func() time.Time { return now }}
	at := func(want string, hashed int) {
		t.Helper()
		r := read(t, o)
		if w := where(r)["W/2019/a.jpg"]; len(w) != 1 || w[0] != want || r.HashedFiles != hashed {
			t.Errorf("at %s: %q, %d files read, want %s and %d", now, w, r.HashedFiles, want, hashed)
		}
	}
	touch(t, root, "W/2019/a.jpg", now.Add(-59*time.Second))
	at("waiting", 1)
	at("waiting", 0)
	now = now.Add(time.Second) // a minute old now
	at("/W@2019", 1)
	at("/W@2019", 0)

	// Something touches it for ever: after a day it is taken as it is, and
	// not remembered.
	for range 24 {
		touch(t, root, "W/2019/a.jpg", now)
		at("waiting", 0)
		now = now.Add(time.Hour)
	}
	touch(t, root, "W/2019/a.jpg", now)
	at("/W@2019", 1)
	at("/W@2019", 1)
	// Left alone, it is settled, and the day begins anew with the next change.
	now = now.Add(time.Hour)
	at("/W@2019", 1)
	at("/W@2019", 0)
	touch(t, root, "W/2019/a.jpg", now)
	at("waiting", 0)
}

func TestFuture(t *testing.T) {
	root := tree(t, map[string]string{"W/2019/a.jpg": "", "W/2019/b.jpg": ""})
	touch(t, root, "W/2019/a.jpg", today.Add(time.Hour))
	touch(t, root, "W/2019/b.jpg", today.AddDate(5, 0, 0))
	wantWhere(t, read(t, Options{Folder: root}), map[string]string{"W/2019/a.jpg": "waiting", "W/2019/b.jpg": "/W@2019"})
}

// changing is a cache that does something to the tree when asked for a folder:
// after the names are listed and before any file is read.
type changing struct {
	*memory
	do func(dir string)
}

func (c changing) Folder(dir string) ([]walk.Known, error) {
	c.do(dir)
	return c.memory.Folder(dir)
}

func TestVanishing(t *testing.T) {
	root := tree(t, map[string]string{"W/2019/a.jpg": "", "W/2019/b.jpg": ""})
	c := changing{newMemory(), func(dir string) {
		if dir == "W/2019" {
			os.Remove(filepath.Join(root, "W/2019/a.jpg"))
		}
	}}
	r := read(t, Options{Folder: root, Cache: c})
	wantWhere(t, r, map[string]string{"W/2019/a.jpg": "waiting", "W/2019/b.jpg": "/W@2019"})
	if len(r.Waiting) != 1 || !r.Waiting[0].Vanished() {
		t.Errorf("%v", r.Waiting)
	}
}

// TestChangesWhileRead: progress is told between a file's first block and its
// last, which is when another program changes it.
func TestChangesWhileRead(t *testing.T) {
	root := t.TempDir()
	put(t, root, "W/2019/big.jpg", make([]byte, 40<<20))
	m := newMemory()
	now := today
	o := Options{Folder: root, Cache: m, Workers: 1, Now: func() time.Time { return now }, Progress: func(files int, _ int64) {
		if files == 0 {
			f, err := os.OpenFile(filepath.Join(root, "W/2019/big.jpg"), os.O_APPEND|os.O_WRONLY, 0)
			if err != nil {
				t.Error(err)
				return
			}
			defer f.Close()
			if _, err := f.WriteString("more"); err != nil {
				t.Error(err)
			}
			os.Chtimes(f.Name(), today, today.Add(-time.Hour))
		}
	}}
	r := read(t, o)
	if len(r.Waiting) != 1 || !strings.Contains(r.Waiting[0].Reason, "changed while linecamp was reading") || len(m.folders["W/2019"]) != 0 {
		t.Fatalf("%v, %v", r.Waiting, m.folders)
	}
	now = now.Add(25 * time.Hour)
	if r := read(t, o); len(r.Waiting) != 0 || r.Files != 1 || len(m.folders["W/2019"]) != 0 {
		t.Errorf("after a day: %v, %v", r.Waiting, m.folders)
	}
}

func TestLinksAndSpecial(t *testing.T) {
	root := tree(t, map[string]string{"W/2019/a.jpg": ""})
	outside := tree(t, map[string]string{"secret.jpg": ""})
	for link, to := range map[string]string{
		"W/2019/file.jpg": filepath.Join(outside, "secret.jpg"), "W/folder": outside, "W/loop": "..", "dangling": "nowhere"} {
		if err := os.Symlink(to, filepath.Join(root, link)); err != nil {
			t.Fatal(err)
		}
	}
	special := makeSpecial(t, filepath.Join(root, "W/2019/pipe.jpg"))
	r := read(t, Options{Folder: root})
	wantWhere(t, r, map[string]string{"W/2019/a.jpg": "/W@2019"})
	var got []string
	for _, p := range r.Passed {
		got = append(got, p.Path)
	}
	want := []string{"W/2019/file.jpg", "W/2019/pipe.jpg", "W/folder", "W/loop", "dangling"}
	if !special {
		want = append(want[:1], want[2:]...)
	}
	if !equal(got, want) {
		t.Errorf("passed over %q, want %q", got, want)
	}
}

// TestSwappedForLinks: a folder and a file are replaced by links to elsewhere
// between being seen and being opened.
func TestSwappedForLinks(t *testing.T) {
	root := tree(t, map[string]string{"W/2019/a.jpg": "", "X/2019/b.jpg": "", "X/2019/a.jpg": ""})
	outside := tree(t, map[string]string{"a.jpg": "", "2019/b.jpg": "", "2019/a.jpg": ""})
	swap := func(path, to string) {
		os.RemoveAll(filepath.Join(root, path))
		if err := os.Symlink(to, filepath.Join(root, path)); err != nil {
			t.Error(err)
		}
	}
	c := changing{newMemory(), func(dir string) {
		switch dir {
		case "W":
			swap("W/2019", outside)
		case "X/2019":
			swap("X/2019/a.jpg", filepath.Join(outside, "a.jpg"))
		}
	}}
	r := read(t, Options{Folder: root, Cache: c, Workers: 1})
	for p, w := range where(r) {
		if strings.HasSuffix(p, "a.jpg") && w[0] != "waiting" {
			t.Errorf("%s was read through a link: %s", p, w)
		}
	}
	for _, k := range c.folders["W/2019"] {
		t.Errorf("%s was read through a link", k.Name)
	}
}

func TestLitter(t *testing.T) {
	files := map[string]string{"W/2019/a.jpg": ""}
	for _, p := range []string{"Thumbs.db", ".DS_Store", "W/desktop.ini", "W/2019/._a.jpg", "$RECYCLE.BIN/x.jpg", "System Volume Information/y",
		".Trash-1000/files/z.jpg", "lost+found/q", "W/2019/M0100.CTG", "W/2019/NIKON001.DSC", "W/2019/AUTPRINT.MRK", "W/2019/.linecamp-restore-0123456789abcdef", ".Spotlight-V100/s"} {
		files[p] = ""
	}
	// What only looks like it is kept.
	kept := []string{"Thumbs.db.jpg", "thumbs/a", "NIKON1.DSC", "ctg", "trash/a", "lost and found/a", ".Trash", "_.jpg", "a._b", ".linecamp-restore-notes"}
	for _, p := range kept {
		files[p] = ""
	}
	r := read(t, Options{Folder: tree(t, files)})
	want := map[string]string{"W/2019/a.jpg": "/W@2019"}
	for _, p := range kept {
		want[p] = "unfiled"
	}
	wantWhere(t, r, want)
	if r.Litter != 13 || len(r.LeftOut) != 13 || r.LeftOut[0] != "$RECYCLE.BIN" || r.LeftOut[12] != "lost+found" {
		t.Errorf("litter %d: %q", r.Litter, r.LeftOut)
	}
}

func TestCacheFaults(t *testing.T) {
	root := tree(t, map[string]string{"W/2019/a.jpg": ""})
	m := newMemory()
	m.fail = errors.New("disk full")
	r := read(t, Options{Folder: root, Cache: m})
	if r.Files != 1 || r.CacheErr == nil || !strings.Contains(r.CacheErr.Error(), "disk full") {
		t.Errorf("%d files, %v", r.Files, r.CacheErr)
	}
}

func TestCancel(t *testing.T) {
	files := map[string]string{}
	for i := range 200 {
		files[fmt.Sprintf("W/%d/a.jpg", 1900+i%100)] = ""
		files[fmt.Sprintf("W/%d/b.jpg", 1900+i%100)] = ""
	}
	root := tree(t, files)
	ctx, cancel := context.WithCancel(context.Background())
	m := newMemory()
	_, err := Read(ctx, Options{Folder: root, Cache: m, Now: func() time.Time { return today }, Progress: func(n int, _ int64) {
		if n == 20 {
			cancel()
		}
	}})
	if !errors.Is(err, context.Canceled) {
		t.Fatalf("error %v", err)
	}
	known := 0
	for _, k := range m.folders {
		known += len(k)
	}
	if known < 20 || known == 200 {
		t.Errorf("%d files are known after stopping at 20", known)
	}
	// The next tally reads only the rest.
	if r := read(t, Options{Folder: root, Cache: m}); r.HashedFiles != 200-known || r.Files != 200 {
		t.Errorf("read %d of %d files, %d were known", r.HashedFiles, r.Files, known)
	}
}

// TestNothingSkipped: whatever the tree, every regular file that is not litter
// is in exactly one place, with its true digest if it was read.
func TestNothingSkipped(t *testing.T) {
	parts := []string{"North", "Windmill", "2019", "2019-06-21", "spring", "plot", "100ABCDE", "DCIM", "2001-2015", "CON", "a.", " b ", "q\"'", "n\nl",
		"caf\xe9", "Cafe", "cafe", "\U0001F33E", strings.Repeat("x", 250), "06", "$x", "-rf", "*", "?", "aux.txt"}
	exts := []string{".jpg", ".JPG", ".nef", ".xmp", ".txt", ".pdf", "", ".", ".toml", ".mov", ".heic"}
	rapid.Check(t, func(rt *rapid.T) {
		root := t.TempDir()
		want := map[string][]byte{}
		waits := map[string]bool{}
		for range rapid.IntRange(0, 25).Draw(rt, "files") {
			dirs := rapid.SliceOfN(rapid.SampledFrom(parts), 0, 4).Draw(rt, "dirs")
			name := rapid.SampledFrom(parts).Draw(rt, "name") + rapid.SampledFrom(exts).Draw(rt, "ext")
			path := strings.Join(append(dirs, name), "/")
			full := filepath.Join(root, path)
			content := rapid.SliceOfN(rapid.Byte(), 0, 50).Draw(rt, "content")
			if rapid.Bool().Draw(rt, "photo") {
				content = append(jpegWith(exifBlock(rapid.SampledFrom([]string{june21, june22, oct02, "1999:01:01 00:00:00", ""}).Draw(rt, "exif"))), content...)
			}
			if os.MkdirAll(filepath.Dir(full), 0o755) != nil || os.WriteFile(full, content, 0o644) != nil {
				continue // a folder where a file is to be, or the other way round
			}
			want[path] = content
			when := today.Add(-time.Hour)
			if waits[path] = rapid.IntRange(0, 9).Draw(rt, "fresh") == 0; waits[path] {
				when = today
			}
			if err := os.Chtimes(full, when, when); err != nil {
				rt.Fatal(err)
			}
		}
		r, err := Read(context.Background(), Options{Folder: root, Now: func() time.Time { return today }})
		if err != nil {
			rt.Fatal(err)
		}
		got := where(r)
		for p, content := range want {
			if len(got[p]) != 1 || (got[p][0] == "waiting") != waits[p] {
				rt.Fatalf("%q is at %q, waiting expected: %v", p, got[p], waits[p])
			}
			delete(got, p)
			_ = content
		}
		if len(got) > 0 {
			rt.Fatalf("not in the tree: %q", got)
		}
		check := func(f File) {
			if f.SHA256 != manifest.Sum(want[f.Path]) || f.Size != int64(len(want[f.Path])) || f.Kind == "" {
				rt.Fatalf("%q: digest, size or kind is wrong", f.Path)
			}
		}
		for i := range r.Sites {
			s := &r.Sites[i]
			for f := range s.Files() {
				check(f)
				if !within.Below(f.Path, s.Base) {
					rt.Fatalf("%q does not lie below its site's base %q", f.Path, s.Base)
				}
			}
		}
		for f := range r.Unfiled.All() {
			check(f)
		}
	})
}
