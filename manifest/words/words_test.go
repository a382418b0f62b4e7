package words

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"linecamp/manifest/store"
)

func TestText(t *testing.T) {
	const text = "look, then run `linecamp mirror --accept-changes`; `layout` is a key"
	if got := (Line{}).Text(text); got != text {
		t.Error(got)
	}
	want := "look, then run `linecamp mirror --accept-changes --archive draw`; `layout` is a key"
	if got := (Line{Archive: "draw"}).Text(text); got != want {
		t.Error(got)
	}
}

func TestOf(t *testing.T) {
	l := Line{Archive: "draw"}
	if Of(Writer(io.Discard, l)) != l || Of(io.Discard) != (Line{}) {
		t.Error("the line is not carried")
	}
}

func TestPlain(t *testing.T) {
	for _, c := range []struct{ from, to string }{
		{"/mnt/x is not there. Is the drive plugged in? not here", "/mnt/x is not there. Is the drive plugged in?"},
		{"/mnt/x is an empty folder. Nothing was written to it: not here (it may be unplugged for 14 days)", "/mnt/x is an empty folder. Nothing was written to it (it may be unplugged for 14 days)"},
		{"no copy is within reach (shelf: /x is not there: not here)", "no copy is within reach (shelf: /x is not there)"},
		{"shelf: in use", "shelf: another linecamp is working there; try again when it has finished"},
		{"not here", "it is not there; plug it in"},
		{"one is taken: not empty\ntwo is taken: not empty", "one is taken\ntwo is taken"},
		{"the folder /x cannot be made: cannot be restored into: mkdir /x: permission denied", "the folder /x cannot be made: mkdir /x: permission denied"},
		{"this layout (cannot be used)", "this layout"},
		{"two words: out of reach: not here", "two words"},
		{"/x: the drive is no longer there (listing it). Plug it in again: not here (lstat /x: gone)", "/x: the drive is no longer there (listing it). Plug it in again (lstat /x: gone)"},
		{"version 3 of post-1: damaged", "version 3 of post-1: its manifest is damaged; run `linecamp verify`, then `linecamp mend`"},
		{"notes: not hereabouts", "notes: not hereabouts"},
	} {
		if got := Plain(c.from); got != c.to {
			t.Errorf("Plain(%q) = %q, want %q", c.from, got, c.to)
		}
		if again := Plain(c.to); again != c.to {
			t.Errorf("Plain(%q) = %q is not at rest", c.to, again)
		}
	}
}

func TestTold(t *testing.T) {
	err := Told(fmt.Errorf("/mnt/x is not there. Is the drive plugged in? %w", store.ErrNotHere))
	if !errors.Is(err, store.ErrNotHere) || strings.Contains(err.Error(), "not here") {
		t.Errorf("%v", err)
	}
	if Told(nil) != nil {
		t.Error("nothing was told of nothing")
	}
}

func TestQuote(t *testing.T) {
	for _, c := range []struct{ word, unix, windows string }{
		{"plain/Way-1.jpg", "plain/Way-1.jpg", "plain/Way-1.jpg"},
		{"two words", "'two words'", `"two words"`},
		{"100%", "'100%'", `"100%"`},
		{"=ls", "'=ls'", `"=ls"`},
		{"a,b", "'a,b'", `"a,b"`},
		{"", "''", `""`},
		{"it's", `'it'\''s'`, `"it's"`},
		{`C:\My Photos\`, `'C:\My Photos\'`, `"C:\My Photos\\"`},
		{`C:\Photos\`, `'C:\Photos\'`, `C:\Photos\`},
		{`say "so\"`, `'say "so\"'`, `"say \"so\\\""`},
		{"red\x1b[31m", `$'red\x1b[31m'`, "\"red\ufffd[31m\""},
		{"line\nend", `$'line\x0a'$'end'`, "\"line\ufffdend\""},
		{"it's\x07", `$'it\'s\x07'`, "\"it's\ufffd\""},
		{"turned \u202e", `$'turned \xe2\x80\xae'`, "\"turned \ufffd\""},
		{"bad \xff", `$'bad \xff'`, "\"bad \ufffd\""},
	} {
		if got := quoteUnix(c.word); got != c.unix {
			t.Errorf("%q: %s, want %s", c.word, got, c.unix)
		}
		if got := quoteWindows(c.word); got != c.windows {
			t.Errorf("%q: %s, want %s", c.word, got, c.windows)
		}
	}
}

// TestTails holds the list against the errors themselves.
func TestTails(t *testing.T) {
	for _, e := range []error{store.ErrNoRoot, store.ErrOtherRoot, store.ErrNotHere, store.ErrNotEmpty, store.ErrNotAFolder, store.ErrReadOnly,
		store.ErrFull, store.ErrTooLarge, store.ErrBusy, store.ErrConflict, store.ErrDigest, store.ErrDamaged, store.ErrNoObject, store.ErrNotS3,
		store.ErrNoBucket, store.ErrDenied, store.ErrClock, store.ErrUnreachable, store.ErrCertificate, store.ErrNoCondition, store.ErrBadKey,
		store.ErrCredentials, store.ErrBadAddress} {
		if got := Plain("a whole sentence: " + e.Error()); got != "a whole sentence" {
			t.Errorf("%q is left as it is", got)
		}
	}
}

func TestReason(t *testing.T) {
	_, open := os.Open(filepath.Join(t.TempDir(), "none"))
	rename := os.Rename(filepath.Join(t.TempDir(), "none"), filepath.Join(t.TempDir(), "other"))
	for _, err := range []error{open, rename, fmt.Errorf("before: %w", rename)} {
		if got := Reason(err); got == "" || strings.Contains(got, "none") || strings.Contains(got, "other") {
			t.Errorf("%v: %q", err, got)
		}
	}
	if got := Reason(errors.New("another")); got != "another" {
		t.Errorf("%q", got)
	}
}
