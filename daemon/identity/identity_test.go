package identity

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/uuid"
)

const other = "5b0e9d3c-0b1f-4c55-8d5e-6f1f3f0a7b21"

func never() (string, error) { return "", nil }

func open(t *testing.T, folder string) State {
	t.Helper()
	is, err := Open(folder, t.TempDir(), never)
	if err != nil {
		t.Fatal(err)
	}
	return is
}

func TestAStateFolderKeepsItsID(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "not", "there")
	answers := make(chan State)
	for range 8 { // all at once
		go func() {
			is, err := Open(folder, folder, never)
			if err != nil {
				t.Error(err)
			}
			answers <- is
		}()
	}
	first := <-answers
	for range 7 {
		if a := <-answers; a != first {
			t.Errorf("got %+v, want %+v", a, first)
		}
	}
	if uuid.Validate(first.Author) != nil || first.Machine == "" || first.Copied != "" {
		t.Errorf("got %+v", first)
	}
	path := filepath.Join(folder, name)
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm()&0o077 != 0 && os.PathSeparator == '/' {
		t.Errorf("rights are %v (%v)", info.Mode(), err)
	}
	if entries, err := os.ReadDir(folder); err != nil || len(entries) != 1 {
		t.Errorf("left behind: %v, %v", entries, err)
	}
	if id, err := Known(folder); err != nil || id != first.Author {
		t.Errorf("known as %s (%v)", id, err)
	}
	if err := os.WriteFile(path, []byte("{"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(folder, folder, never); err == nil || !strings.Contains(err.Error(), "is damaged") {
		t.Errorf("damaged: %v", err)
	}
	if b, err := os.ReadFile(path); err != nil || string(b) != "{" {
		t.Errorf("the damaged one was changed: %q, %v", b, err)
	}
}

// Two state folders of one user on one computer are two authors.
func TestTwoStateFoldersAreTwoAuthors(t *testing.T) {
	a, b := open(t, t.TempDir()), open(t, t.TempDir())
	if a.Author == b.Author {
		t.Errorf("both are %s", a.Author)
	}
}

func TestAStateFolderGetsAnotherID(t *testing.T) {
	folder := t.TempDir()
	was := open(t, folder)
	is, err := Anew(folder)
	if err != nil || is.Author == was.Author || is.Copied != was.Author || is.Machine != was.Machine {
		t.Errorf("was %+v, is %+v (%v)", was, is, err)
	}
	if again := open(t, folder); again != is {
		t.Errorf("a second look: %+v, not %+v", again, is)
	}
	if _, err := Anew(t.TempDir()); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a folder that is none: %v", err)
	}
}

// What a state folder is after it, and what is around it, changed place.
func TestPlaces(t *testing.T) {
	mine := systemID
	defer func() { systemID = mine }()
	one, two := func() []byte { return make([]byte, 16) }, func() []byte { return append(make([]byte, 15), 1) }
	none := func() []byte { return nil }
	for _, c := range []struct {
		name          string
		before, after func() []byte
		move, copy    bool
		stays         bool
	}{
		{name: "nothing changed", before: one, after: one, stays: true},
		{name: "another computer", before: one, after: two},
		{name: "copied to another computer, under another name", before: one, after: two, move: true},
		{name: "moved", before: one, after: one, move: true, stays: true},
		{name: "copied", before: one, after: one, copy: true},
		{name: "a system without an id", before: none, after: none, stays: true},
		{name: "a system without an id, copied", before: none, after: none, copy: true},
		{name: "a system that got an id", before: none, after: one, stays: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			folder := filepath.Join(t.TempDir(), "state")
			systemID = c.before
			was := open(t, folder)
			to := folder
			if c.move || c.copy {
				to = filepath.Join(t.TempDir(), "elsewhere")
			}
			if c.move {
				if err := os.Rename(folder, to); err != nil {
					t.Fatal(err)
				}
			}
			if c.copy {
				if err := os.CopyFS(to, os.DirFS(folder)); err != nil {
					t.Fatal(err)
				}
			}
			systemID = c.after
			is := open(t, to)
			if (is.Author == was.Author) != c.stays || (is.Copied == "") != c.stays || !c.stays && is.Copied != was.Author {
				t.Errorf("was %+v, is %+v", was, is)
			}
			if again := open(t, to); again != is {
				t.Errorf("a second look: %+v, not %+v", again, is)
			}
			if c.copy {
				if again := open(t, folder); again != was {
					t.Errorf("the one it was copied from is %+v now", again)
				}
			}
		})
	}
}

// A state folder that recorded under the id which one user had for all goes on
// under it. One that did not gets its own.
func TestStatesOfEarlierProgramsGoOn(t *testing.T) {
	mine := systemID
	defer func() { systemID = mine }()
	systemID = func() []byte { return make([]byte, 16) }
	fromSystem, _ := derived()
	kept := fmt.Sprintf(`{"author": %q, "machine": "barn"}`, other)
	for _, c := range []struct {
		name           string
		in             string // where machine.json is: "base", "state" or nowhere
		recorded, want string
		fails          bool
	}{
		{name: "kept for all, and recorded", in: "base", recorded: other, want: other},
		{name: "kept for all, and another recorded", in: "base", recorded: fromSystem},
		{name: "kept for all, never recorded", in: "base"},
		{name: "kept for all, recorded once", in: "base", recorded: Earlier, want: other},
		{name: "in the state folder, recorded once", in: "state", recorded: Earlier, want: other},
		{name: "not kept, recorded once", recorded: Earlier, want: fromSystem},
		{name: "in the state folder, and recorded", in: "state", recorded: other, want: other},
		{name: "in the state folder, never recorded", in: "state"},
		{name: "not kept, and recorded", recorded: fromSystem, want: fromSystem},
		{name: "not kept, never recorded"},
		{name: "the ledger cannot be read", in: "base", fails: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			folder, base := t.TempDir(), t.TempDir()
			if c.in == "state" {
				base = folder
			}
			if c.in != "" {
				if err := os.WriteFile(filepath.Join(base, name), []byte(kept), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			if id, err := Known(folder); !errors.Is(err, fs.ErrNotExist) {
				t.Errorf("known as %s before it was settled (%v)", id, err)
			}
			is, err := Open(folder, base, func() (string, error) {
				if c.fails {
					return "", errors.New("no ledger")
				}
				return c.recorded, nil
			})
			if c.fails {
				if err == nil {
					t.Errorf("it is %+v", is)
				}
				return
			}
			if err != nil || is.Author == "" {
				t.Fatalf("it is %+v (%v)", is, err)
			}
			if c.want != "" && is.Author != c.want || c.want == "" && (is.Author == other || is.Author == fromSystem) {
				t.Errorf("it is %s", is.Author)
			}
			if c.in != "" && is.Machine != "barn" {
				t.Errorf("the computer is called %s", is.Machine)
			}
			if again, err := Open(folder, base, never); err != nil || again != is {
				t.Errorf("a second look: %+v (%v)", again, err)
			}
		})
	}
}
