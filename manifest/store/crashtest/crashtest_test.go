package crashtest_test

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"linecamp/manifest/store/crashtest"
	"linecamp/manifest/store/drive"
)

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// bench is a new drive with an account, and what a test does to it.
type bench struct {
	t    *testing.T
	dir  string
	d    *crashtest.Drive
	disk drive.Disk
}

func begin(t *testing.T) *bench {
	dir := crashtest.Folder(t)
	must(t, os.Mkdir(filepath.Join(dir, "a"), 0o777))
	must(t, os.Mkdir(filepath.Join(dir, "b"), 0o777))
	must(t, os.WriteFile(filepath.Join(dir, "a/old"), []byte("old bytes"), 0o666))
	must(t, os.WriteFile(filepath.Join(dir, "b/other"), []byte("other"), 0o666))
	must(t, os.MkdirAll(filepath.Join(dir, "a/folder/in"), 0o777))
	must(t, os.WriteFile(filepath.Join(dir, "a/folder/in/one"), []byte("1"), 0o666))
	must(t, os.WriteFile(filepath.Join(dir, "a/folder/in/two"), []byte("2"), 0o666))
	d, err := crashtest.New(dir)
	must(t, err)
	real, err := drive.New(dir)
	must(t, err)
	t.Cleanup(func() { real.Close() })
	b := &bench{t: t, dir: dir, d: d}
	real.WrapDisk(func(k drive.Disk) drive.Disk { b.disk = d.Wrap(k); return b.disk })
	return b
}

func (b *bench) write(name, content string, sync bool) {
	b.t.Helper()
	f, err := b.disk.Create(name)
	must(b.t, err)
	_, err = f.Write([]byte(content))
	must(b.t, err)
	if sync {
		must(b.t, f.Sync())
	}
	must(b.t, f.Close())
}

// shows is all files and empty folders with their content, in words.
func (b *bench) shows() string {
	b.t.Helper()
	var all []string
	must(b.t, filepath.WalkDir(b.dir, func(full string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		rel, _ := filepath.Rel(b.dir, full)
		c, err := os.ReadFile(full)
		all = append(all, fmt.Sprintf("%s=%q", filepath.ToSlash(rel), c))
		return err
	}))
	return strings.Join(all, " ")
}

// outcomes runs the same thing under many seeds and collects what is left.
func outcomes(t *testing.T, do func(*bench)) map[string]int {
	t.Helper()
	seen := map[string]int{}
	for seed := range uint64(120) {
		b := begin(t)
		do(b)
		must(t, b.d.Cut(seed))
		seen[b.shows()]++
	}
	return seen
}

// some wants an outcome with each of the given parts; "!x" is one without x.
func some(t *testing.T, seen map[string]int, want ...string) {
	t.Helper()
	for _, w := range want {
		found := false
		for s := range seen {
			all := true
			for part := range strings.FieldsSeq(w) {
				if no, ok := strings.CutPrefix(part, "!"); ok {
					all = all && !strings.Contains(s, no)
				} else {
					all = all && strings.Contains(s, part)
				}
			}
			found = found || all
		}
		if !found {
			t.Errorf("no outcome shows %s, only %v", w, seen)
		}
	}
}

// always wants the part in every outcome.
func always(t *testing.T, seen map[string]int, want ...string) {
	t.Helper()
	for s := range seen {
		for _, w := range want {
			if !strings.Contains(s, w) {
				t.Errorf("an outcome lacks %s: %s", w, s)
			}
		}
	}
}

func TestWhatIsSyncedStays(t *testing.T) {
	for name, do := range map[string]func(*bench){
		"each": func(b *bench) {
			must(t, b.disk.Mkdir("a/new"))
			must(t, b.disk.SyncFolder("a"))
			b.write("a/new/file", "content", true)
			must(t, b.disk.SyncFolder("a/new"))
			must(t, b.disk.Rename("b/other", "a/old"))
			must(t, b.disk.SyncFolder("a"))
			must(t, b.disk.SyncFolder("b"))
		},
		"all": func(b *bench) {
			must(t, b.disk.Mkdir("a/new"))
			b.write("a/new/file", "content", false)
			must(t, b.disk.Rename("b/other", "a/old"))
			must(t, b.disk.SyncAll())
		},
	} {
		t.Run(name, func(t *testing.T) {
			seen := outcomes(t, do)
			if len(seen) != 1 {
				t.Errorf("%d outcomes: %v", len(seen), seen)
			}
			always(t, seen, `a/new/file="content"`, `a/old="other"`)
		})
	}
}

func TestBytesNotSynced(t *testing.T) {
	seen := outcomes(t, func(b *bench) {
		b.write("a/new", "content", false)
		must(t, b.disk.SyncFolder("a"))
	})
	always(t, seen, "a/new=", `a/old="old bytes"`)
	some(t, seen, `a/new=""`, `a/new="con"`, `a/new="content"`, `a/new="con\x00\x00\x00\x00"`)

	seen = outcomes(t, func(b *bench) {
		f, err := b.disk.Update("b/other")
		must(t, err)
		_, err = f.Seek(0, 2)
		must(t, err)
		_, err = f.Write([]byte("+more"))
		must(t, err)
		must(t, f.Close())
	})
	always(t, seen, `b/other="other`)
	some(t, seen, `b/other="other"`, `b/other="other+"`, `b/other="other+more"`, `b/other="other+\x00\x00\x00\x00"`)
}

func TestNamesNotSynced(t *testing.T) {
	seen := outcomes(t, func(b *bench) {
		b.write("a/first", "1", true)
		b.write("a/second", "2", true)
		must(t, b.disk.Link("b/other", "b/link"))
		must(t, b.disk.Remove("b/other"))
	})
	some(t, seen, "a/first !a/second", "!a/first a/second", "!a/first !a/second", "a/first a/second",
		"b/other b/link", "!b/other b/link", "b/other !b/link", "!b/other !b/link")
}

func TestNoRenameIsAtomic(t *testing.T) {
	seen := outcomes(t, func(b *bench) { must(t, b.disk.Rename("b/other", "a/old")) })
	some(t, seen, `a/old="other" b/other`, `a/old="other" !b/other`, `!a/old= b/other`, `!a/old= !b/other`, `a/old="old b/other`)

	seen = outcomes(t, func(b *bench) { must(t, b.disk.Rename("a/folder", "b/moved")) })
	some(t, seen, "a/folder/in/one a/folder/in/two !b/moved", "b/moved/in/one b/moved/in/two !a/folder", "!b/moved !a/folder",
		"a/folder/in/one b/moved/in/two !a/folder/in/two", "a/folder/in/one b/moved/in/one", "!a/folder/in/one b/moved/in/one a/folder/in/two")

	seen = outcomes(t, func(b *bench) {
		must(t, b.disk.Rename("a/folder", "b/moved"))
		must(t, b.disk.SyncFolder("b"))
	})
	always(t, seen, "b/moved/in/one", "b/moved/in/two")
	some(t, seen, "a/folder/in/one", "a/folder/in/two", "!a/folder")
}

func TestTheWorldStops(t *testing.T) {
	b := begin(t)
	b.d.StopAt(3) // the second half of the write
	f, err := b.disk.Create("a/new")
	must(t, err)
	if _, err := f.Write([]byte("content")); !errors.Is(err, crashtest.ErrStopped) {
		t.Errorf("the write ended with %v", err)
	}
	must(t, f.Close())
	if err := b.disk.Mkdir("c"); !errors.Is(err, crashtest.ErrStopped) {
		t.Errorf("after the stop: %v", err)
	}
	if n, stopped := b.d.Done(); n != 2 || !stopped {
		t.Errorf("%d operations were done, stopped %v", n, stopped)
	}
	if s := b.shows(); !strings.Contains(s, `a/new="con"`) {
		t.Errorf("the folder shows %s", s)
	}
	b.d.Kill()
	must(t, b.disk.Mkdir("c"))
	if n, stopped := b.d.Done(); n != 1 || stopped {
		t.Errorf("after the kill: %d operations done, stopped %v", n, stopped)
	}
}
