package words

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
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
