package wholefile

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
)

func TestReplaceAndCreate(t *testing.T) {
	for name, tt := range map[string]struct {
		before string // "" for no file
		put    func(string, fs.FileMode, []byte) error
		err    error
		after  string
	}{
		"replace nothing":    {"", Replace, nil, "new"},
		"replace a file":     {"old", Replace, nil, "new"},
		"create":             {"", Create, nil, "new"},
		"create over a file": {"old", Create, fs.ErrExist, "old"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, "file")
			if tt.before != "" {
				if err := os.WriteFile(path, []byte(tt.before), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			if err := tt.put(path, 0o640, []byte("new")); !errors.Is(err, tt.err) {
				t.Fatalf("%v; want %v", err, tt.err)
			}
			if b, err := os.ReadFile(path); err != nil || string(b) != tt.after {
				t.Errorf("it holds %q, %v; want %q", b, err, tt.after)
			}
			if st, err := os.Stat(path); err != nil || tt.err == nil && st.Mode().Perm() != 0o640 {
				t.Errorf("its permissions: %v, %v", st.Mode(), err)
			}
			only(t, dir, "file")
		})
	}
}

// Where a step fails, the name keeps what it had and no draft stays.
func TestAFailedWriteLeavesWhatWasThere(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "taken")
	if err := os.MkdirAll(filepath.Join(path, "inside"), 0o777); err != nil {
		t.Fatal(err)
	}
	for name, put := range map[string]func(string, fs.FileMode, []byte) error{"replace": Replace, "create": Create} {
		if err := put(path, 0o600, []byte("new")); err == nil {
			t.Errorf("%s: a file took the place of a folder that is not empty", name)
		}
		if err := put(filepath.Join(dir, "none", "file"), 0o600, nil); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s, in a folder that is not there: %v", name, err)
		}
	}
	d, err := Begin(path+".txt", 0o600)
	if err != nil {
		t.Fatal(err)
	}
	d.File.Close() // as a failing disk does
	if err := d.Replace(); err == nil {
		t.Error("a draft that cannot be synced got its name")
	}
	d.Drop()
	only(t, dir, "taken")
}

// A process killed in the middle leaves the file as it was, and a draft that a
// tally passes over and that is in nobody's way.
func TestKilledBeforeTheName(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "file")
	if err := Replace(path, 0o600, []byte("old")); err != nil {
		t.Fatal(err)
	}
	killed, err := Begin(path, 0o600)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := killed.Write([]byte("half of the n")); err != nil {
		t.Fatal(err)
	}
	killed.File.Close()
	if b, _ := os.ReadFile(path); string(b) != "old" {
		t.Errorf("it holds %q", b)
	}
	if !regexp.MustCompile(`^\.linecamp-restore-[0-9a-f]{16}$`).MatchString(killed.temp) {
		t.Errorf("a tally would record the draft %s", killed.temp) // see litter.go of the tally
	}
	if err := Replace(path, 0o600, []byte("new")); err != nil {
		t.Fatal(err)
	}
	only(t, dir, "file", killed.temp)
}

// Of several who create one file at once, one does.
func TestCreateAtOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	var won atomic.Int64
	var all sync.WaitGroup
	for i := range 20 {
		all.Go(func() {
			switch err := Create(path, 0o600, []byte(strconv.Itoa(i))); {
			case err == nil:
				won.Add(1)
			case !errors.Is(err, fs.ErrExist):
				t.Error(err)
			}
		})
	}
	all.Wait()
	if won.Load() != 1 {
		t.Errorf("%d made it", won.Load())
	}
	only(t, filepath.Dir(path), "file")
}

func only(t *testing.T, dir string, names ...string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	there := map[string]bool{}
	for _, e := range entries {
		there[e.Name()] = true
	}
	for _, n := range names {
		if !there[n] {
			t.Errorf("%s is not there", n)
		}
		delete(there, n)
	}
	for n := range there {
		t.Errorf("%s was left behind", n)
	}
}
