package seal

import (
	"errors"
	"strings"
	"testing"
)

// Lines that make versions count no more.
func TestHeadsFollowWhatIsDropped(t *testing.T) {
	s := &Seal{}
	add := func(l Line, want int) {
		t.Helper()
		l.At = testTime
		if l.What != Late {
			l.Object = testID
		}
		if err := s.Append(l); err != nil {
			t.Fatal(err)
		}
		if got := s.Heads()[testID]; got != want {
			t.Errorf("after line %d the head is %d, want %d", s.Len(), got, want)
		}
	}
	add(Line{What: Version, Version: 1, Inventory: sum("1")}, 1)
	add(Line{What: Version, Version: 2, Inventory: sum("2")}, 2)
	add(Line{What: Version, Version: 3, Inventory: sum("3")}, 3)
	add(Line{What: Lost, Version: 2, Why: "no copy has it"}, 1)
	add(Line{What: Version, Version: 2, Inventory: sum("other")}, 2)
	add(Line{What: Late, Lines: 17, Log: sum("log"), Why: "met on shelf-drive"}, 2)
	add(Line{What: Closed, Version: 1, Why: "two buckets have it"}, 0)
	read, err := Decode(sealFiles(s))
	if err != nil {
		t.Fatal(err)
	}
	if read.Digest() != s.Digest() || len(read.Heads()) != 0 || read.Newer() {
		t.Errorf("read back it has %d heads", len(read.Heads()))
	}
}

// A line with a word of a later program is kept as it is, byte for byte.
func TestALineOfANewerProgramIsKept(t *testing.T) {
	const at = "0000000001 2026-07-02T02:30:00Z "
	for rest, ok := range map[string]bool{
		"merged":                     true,
		"merged \"so\"  {odd}":       true,
		"over-again linecamp:x:y v1": true,
		"again " + testID + " v2 " + sum("x").String(): true,
		"":                                      false,
		"Merged x":                              false,
		"-merged x":                             false,
		"merged \xff":                           false,
		strings.Repeat("m", 33) + " x":          false,
		"late 0 " + sum("x").String() + " \"\"": false,
		"late 1 " + sum("x").String() + " \"\"": true,
		"lost linecamp:a:b v0 \"\"":             false,
		"author " + testAuthor + " 1000000001 \"\"": false,
		"author " + testAuthor + " 1000000000 \"\"": true,
	} {
		line := at + rest + "\n"
		s, err := Decode([][]byte{[]byte(line)})
		if ok != (err == nil) || err != nil && !errors.Is(err, ErrInvalid) {
			t.Errorf("%q: %v", rest, err)
			continue
		}
		if !ok {
			continue
		}
		newer := !strings.HasPrefix(rest, "late") && !strings.HasPrefix(rest, "author")
		if string(s.Text(0, s.Len())) != line || s.Newer() != newer {
			t.Errorf("%q is kept as %q, newer: %v", rest, s.Text(0, s.Len()), s.Newer())
		}
		c := &Seal{}
		for l := range s.All() {
			if err := c.Append(l); err != nil || c.Digest() != s.Digest() {
				t.Errorf("%q added anew: %v", rest, err)
			}
		}
		if c.Clone().Newer() != s.Newer() {
			t.Errorf("%q: a clone does not know that it is newer", rest)
		}
	}
}

// Rot in the word of a line is rot, and no newer program.
func TestARottenWordIsRot(t *testing.T) {
	log := historyOf(t, "a", "b")
	rotten, err := Decode([][]byte{[]byte(strings.Replace(string(log.Text(0, log.Len())), "version", "vershon", 1))})
	if err != nil {
		t.Fatal(err)
	}
	if !rotten.Newer() || !rotten.Rotted(log) {
		t.Error("it is not told to be rotten")
	}
}
