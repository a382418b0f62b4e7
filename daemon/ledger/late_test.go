package ledger

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"linecamp/manifest/seal"
)

func gaveUp(t *testing.T, why ...string) *seal.Seal {
	t.Helper()
	s := &seal.Seal{}
	for _, w := range why {
		if err := s.Append(seal.Line{At: time.Date(2026, 7, 2, 2, 30, 0, 0, time.UTC), What: seal.GaveUp, Copy: "11111111-1111-4111-8111-111111111111", Why: w}); err != nil {
			t.Fatal(err)
		}
	}
	return s
}

// A seal that is replaced by that of another history stays in the state folder, and a
// crash in between leaves it there too.
func TestAdoptSealKeepsTheOther(t *testing.T) {
	dir := t.TempDir()
	c := OpenInventories(dir)
	was, is := gaveUp(t, "drive stolen", "drive lost"), gaveUp(t, "barn burned")
	if err := c.PutSeal(was); err != nil {
		t.Fatal(err)
	}
	if err := c.PutSeal(is); !errors.Is(err, ErrOtherSeal) {
		t.Fatalf("it is replaced without a word: %v", err)
	}
	wantLate := func(want ...*seal.Seal) {
		t.Helper()
		late, err := OpenInventories(dir).LateSeals()
		if err != nil || len(late) != len(want) {
			t.Fatalf("%d are kept, %v", len(late), err)
		}
		for i := range want {
			if late[i].Digest() != want[i].Digest() {
				t.Errorf("kept is\n%s", late[i].Text(0, 9))
			}
		}
	}
	wantLate()
	if err := c.leaveSeal(); err != nil { // where a crash ends it
		t.Fatal(err)
	}
	if _, err := OpenInventories(dir).Seal(); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("after a crash: %v", err)
	}
	wantLate(was)
	if err := c.PutSeal(was); err != nil {
		t.Fatal(err)
	}
	if err := c.AdoptSeal(is); err != nil {
		t.Fatal(err)
	}
	if s, err := OpenInventories(dir).Seal(); err != nil || s.Digest() != is.Digest() {
		t.Errorf("it has %v, %v", s, err)
	}
	wantLate(was)

	path := filepath.Join(dir, "late", was.Digest().String()+".txt")
	if err := os.WriteFile(path, was.Text(0, 1), 0o600); err != nil {
		t.Fatal(err)
	}
	wantLate()
}
