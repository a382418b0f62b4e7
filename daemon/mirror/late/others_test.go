package late

import (
	"errors"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"linecamp/daemon/authority"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/verify"
)

// A chain is believed as far as a log names it, or this archive's once did, and one version beyond.
func TestKnown(t *testing.T) {
	chain := grow(t, grow(t, grow(t, nil, map[string]string{"a": "A"}, "both"), map[string]string{"a": "B"}, "theirs"), map[string]string{"a": "C"}, "theirs").Inv
	id := chain.ID
	named := func(to int, more ...seal.Line) *seal.Seal {
		log, err := seal.Decode(nil)
		if err != nil {
			t.Fatal(err)
		}
		var lines []seal.Line
		for n := 1; n <= to; n++ {
			lines = append(lines, seal.Line{What: seal.Version, Object: id, Version: n, Inventory: index(chain)[n-1]})
		}
		for i, l := range append(lines, more...) {
			l.N, l.At = i+1, day
			if err := log.Append(l); err != nil {
				t.Fatal(err)
			}
		}
		return log
	}
	for _, c := range []struct {
		why        string
		ours, late *seal.Seal
		want       int
	}{
		{"nobody names what goes beyond", named(1), named(1), 2},
		{"the other log names one more", named(1), named(2), 3},
		{"it names all", named(1), named(3), 3},
		{"ours named it once", named(2, seal.Line{What: seal.Lost, Object: id, Version: 2, Why: "gone"}), named(1), 3},
	} {
		log, err := authority.NewLog("ranch", c.ours)
		if err != nil {
			t.Fatal(err)
		}
		o := Others{Notes: notes{}}
		o.Add(c.late, "shelf")
		o.Add(c.late, "barn")
		if len(o.Logs) != 1 {
			t.Errorf("%s: the same log is known %d times", c.why, len(o.Logs))
		}
		if got := o.Known(log, "stake-1", chain, 2); got != c.want {
			t.Errorf("%s: believed up to %d, want %d", c.why, got, c.want)
		}
	}
}

// notes are the ledger's single values.
type notes map[string]string

func (n notes) Value(key string) (string, bool, error) { v, ok := n[key]; return v, ok, nil }

func (n notes) SetValue(key, value string) error { n[key] = value; return nil }

func (n notes) DropDamage(copyID, _ string, content []string) error {
	for _, c := range content {
		delete(n, "damage "+copyID+" "+c)
	}
	return nil
}

// What a mend replaced is kept beside the seal, and is no other history.
func TestReadPassesOverWhatRotted(t *testing.T) {
	line := func(d string) seal.Line {
		return seal.Line{At: day, What: seal.Version, Object: manifest.ObjectID("ranch", "stake-1"), Version: 1, Inventory: manifest.Sum([]byte(d))}
	}
	rotted := line("a")
	rotted.Inventory[0] ^= 1
	ours, other, hurt := new(seal.Seal), new(seal.Seal), new(seal.Seal)
	root, err := drive.New(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	for s, l := range map[*seal.Seal]seal.Line{ours: line("a"), other: line("b"), hurt: rotted} {
		if err := errors.Join(s.Append(l), store.PutLate(t.Context(), root, s)); err != nil {
			t.Fatal(err)
		}
	}
	o := Others{Notes: notes{}}
	if err := o.Read(t.Context(), authority.Copy{Name: "shelf", Root: root}, ours); err != nil {
		t.Fatal(err)
	}
	if len(o.Logs) != 1 || o.Logs[0].Digest != other.Digest() {
		t.Errorf("it takes %d logs for other histories", len(o.Logs))
	}
}

// Of what is kept and does not read as a log, all counts that its lines name, unless ours
// names that as well. A manifest of which no line reads is known by a later one.
func TestReadTakesWhatDoesNotRead(t *testing.T) {
	chain := grow(t, grow(t, grow(t, nil, map[string]string{"a": "A"}, "both"), map[string]string{"a": "B"}, "theirs"), map[string]string{"a": "C"}, "theirs").Inv
	whole := new(seal.Seal)
	for n, d := range index(chain) {
		if err := whole.Append(seal.Line{At: day, What: seal.Version, Object: chain.ID, Version: n + 1, Inventory: d}); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		why  string
		ours int
		logs int
	}{{"ours has all", 3, 0}, {"ours has the first", 1, 1}} {
		ours, err := seal.Decode([][]byte{whole.Text(0, c.ours)})
		if err != nil {
			t.Fatal(err)
		}
		root, err := drive.New(t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		defer root.Close()
		text := append(append(whole.Text(0, 1), "nothing that reads\n"...), whole.Text(2, 3)...)
		if err := store.PutLateFile(t.Context(), root, text); err != nil {
			t.Fatal(err)
		}
		log, err := authority.NewLog("ranch", ours)
		if err != nil {
			t.Fatal(err)
		}
		o := Others{Notes: notes{}}
		if err := o.Read(t.Context(), authority.Copy{Name: "shelf", Root: root}, ours); err != nil {
			t.Fatal(err)
		}
		if len(o.Logs) != c.logs {
			t.Errorf("%s: %d logs", c.why, len(o.Logs))
		}
		if c.logs > 0 && (o.Known(log, "stake-1", chain, 2) != 3 || o.Logs[0].Lines() != 3 || string(o.Logs[0].Text) != string(text)) {
			t.Errorf("%s: believed up to %d, %d lines", c.why, o.Known(log, "stake-1", chain, 2), o.Logs[0].Lines())
		}
	}
}

// What the ledger notes of a copy's logs outlives a copy that does not have them any more,
// and is put right by whoever finds that: a listing, or a round that wants one from there.
func TestLogsThatWentAreKnown(t *testing.T) {
	x := new(seal.Seal)
	if err := x.Append(seal.Line{At: day, What: seal.Version, Object: manifest.ObjectID("ranch", "stake-1"), Version: 1, Inventory: manifest.Sum(nil)}); err != nil {
		t.Fatal(err)
	}
	lines := []seal.Line{{What: seal.Late, Lines: 1, Log: x.Digest()}}
	key := store.LateKey(x.Digest())
	for _, left := range []string{"nothing", "rot"} {
		var told []string
		var copies []authority.Copy
		var folders []string
		for _, name := range []string{"shelf", "barn"} {
			folders = append(folders, t.TempDir())
			root, err := drive.New(folders[len(folders)-1])
			if err != nil {
				t.Fatal(err)
			}
			defer root.Close()
			if err := store.PutLate(t.Context(), root, x); err != nil {
				t.Fatal(err)
			}
			copies = append(copies, authority.Copy{ID: name, Name: name, Root: root, CanRead: func() bool { return true }})
		}
		known := notes{}
		round := func() {
			t.Helper()
			o := Others{Notes: known, Tell: func(s string) { told = append(told, s) }}
			for _, c := range copies {
				if err := o.Bring(t.Context(), c, lines, copies); err != nil {
					t.Fatal(err)
				}
			}
		}
		had := func(copy string) bool {
			logs, err := Had(known, copy)
			if err != nil {
				t.Fatal(err)
			}
			return logs[x.Digest()]
		}
		lose := func(i int) {
			t.Helper()
			file := filepath.Join(folders[i], key)
			err := os.Remove(file)
			if err == nil && left == "rot" {
				err = os.WriteFile(file, []byte("rot"), 0o666)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		round()
		if !had("shelf") || !had("barn") {
			t.Fatalf("what is there is not noted: %v", known)
		}
		lose(0)
		o := Others{Notes: known}
		if err := o.Read(t.Context(), copies[0], new(seal.Seal)); err != nil || !had("shelf") {
			t.Errorf("%s: a listing forgets what was there: %v, %v", left, known, err)
		}
		round()
		if _, err := store.LateFile(t.Context(), copies[0].Root, x.Digest()); err != nil {
			t.Errorf("%s: it is not put there again: %v", left, err)
		}
		lose(0)
		lose(1)
		if err := Went(known, "shelf", []verify.Damage{{Kind: map[string]string{"nothing": verify.Gone, "rot": verify.Altered}[left], Content: key}}); err != nil {
			t.Fatal(err)
		}
		known["damage shelf "+key] = "found"
		round()
		cut := notes(maps.Clone(known)) // nothing that was told is kept
		_, on := known["damage shelf "+key]
		if left == "nothing" && (len(told) == 0 || !had("shelf") || !on) || left == "rot" && len(told) != 0 {
			t.Errorf("%s: a round that is cut short told %q, noted %v", left, told, known)
		}
		round()
		if !maps.Equal(cut, known) {
			t.Errorf("%s: noted %v, and then %v", left, cut, known)
		}
		for _, c := range copies {
			if err := Told(known, c.ID, func(said string) bool { return slices.Contains(told, said) }); err != nil {
				t.Fatal(err)
			}
		}
		told = slices.Compact(told)
		round()
		_, on = known["damage shelf "+key]
		if left == "nothing" && (len(told) != 1 || had("shelf") || had("barn") || on) || left == "rot" && (len(told) != 0 || !had("shelf") || !had("barn") || !on) {
			t.Errorf("%s: told %q, noted %v", left, told, known)
		}
	}
}
