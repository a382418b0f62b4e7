package handover

import (
	"bytes"
	"encoding/csv"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"linecamp/manifest"
	"linecamp/verify"
)

// placed is the smallest TIFF with a GPS part: one entry in the first directory
// (TIFF 6.0 section 2) that points to a directory of one entry, a latitude
// reference (CIPA DC-008 section 4.6.6) of 24 letters kept beside it.
const placed = "II*\x00\x08\x00\x00\x00" +
	"\x01\x00\x25\x88\x04\x00\x01\x00\x00\x00\x1a\x00\x00\x00\x00\x00\x00\x00" +
	"\x01\x00\x01\x00\x02\x00\x18\x00\x00\x00\x2c\x00\x00\x00\x00\x00\x00\x00" +
	"north of the salt creek.."

func put(t *testing.T, dir, name, text string) {
	t.Helper()
	at := filepath.Join(dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(at), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(at, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}

// What was brought comes into data/ without positions, whatever an earlier call
// that was stopped had done already.
func TestMove(t *testing.T) {
	for _, stopped := range []bool{false, true} {
		dir := t.TempDir()
		bring := func() {
			put(t, dir, taking+"/Stake 3/plot.tif", placed)
			put(t, dir, taking+"/Stake 3/plain.jpg", "no position")
			put(t, dir, taking+"/Stake 3/notes.txt", placed) // a note is not looked into
			put(t, dir, taking+"/Stake 3/odd.jpg", "<?xpacket GPSLatitude in no part that explains it")
		}
		move := func() (Report, []change) {
			root, err := os.OpenRoot(dir)
			if err != nil {
				t.Fatal(err)
			}
			defer root.Close()
			rep := Report{}
			m := mover{root: root, rep: &rep}
			if err := m.all(t.Context()); err != nil {
				t.Fatal(err)
			}
			return rep, m.changes
		}
		bring()
		if stopped {
			move()
			bring()
		}
		rep, changes := move()
		if !slices.Equal(rep.Blanked, []string{"Stake 3/plot.tif"}) || len(changes) != 1 || changes[0].recorded != manifest.Sum([]byte(placed)) {
			t.Errorf("blanked %v, changes %v", rep.Blanked, changes)
		}
		if len(rep.Left) != 1 || rep.Left[0].Path != "Stake 3/odd.jpg" {
			t.Errorf("left %v", rep.Left)
		}
		b, err := os.ReadFile(filepath.Join(dir, "data", "Stake 3", "plot.tif"))
		if err != nil || len(b) != len(placed) || bytes.Contains(b, []byte("salt creek")) {
			t.Errorf("data/Stake 3/plot.tif holds %q, %v", b, err)
		}
		for name, want := range map[string]string{"plain.jpg": "no position", "notes.txt": placed} {
			if b, err := os.ReadFile(filepath.Join(dir, "data", "Stake 3", name)); err != nil || string(b) != want {
				t.Errorf("%s holds %q, %v", name, b, err)
			}
		}
		if _, err := os.Lstat(filepath.Join(dir, "data", "Stake 3", "odd.jpg")); err == nil {
			t.Error("a picture that may tell its position was handed over")
		}
	}
}

// Only a new or empty folder, or one that the same work was stopped in, becomes
// a bag.
func TestReady(t *testing.T) {
	dir := t.TempDir()
	if err := errors.Join(ready(filepath.Join(dir, "new")), ready(dir)); err != nil {
		t.Error(err)
	}
	put(t, dir, "mine.txt", "x")
	if err := ready(dir); !errors.Is(err, ErrInto) {
		t.Errorf("a folder with something in it: %v", err)
	}
	if err := ready(filepath.Join(dir, "mine.txt")); !errors.Is(err, ErrInto) {
		t.Errorf("a file: %v", err)
	}
	put(t, dir, taking+"/x", "x")
	if err := ready(dir); err != nil {
		t.Errorf("after a stop: %v", err)
	}
}

// The bag says in plain words what was done about positions.
func TestInfoOfPositions(t *testing.T) {
	for want, rep := range map[string]Report{
		"left out; 1 picture changed for it, 1 file not in the bag":   {Blanked: make([]string, 1), Left: make([]File, 1)},
		"left out; 0 pictures changed for it, 2 files not in the bag": {Left: make([]File, 2)},
	} {
		tags := Options{}.info(rep)
		if got := tags[len(tags)-1].Value; got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// No cell is one that a spreadsheet would run, and a reader of CSV that is not
// ours (Go's) gets every cell back.
func TestTables(t *testing.T) {
	b := years([]verify.Year{{Pasture: "=cmd()", Site: "+Stake, \"3\"", Year: 2014, State: "short", Lacks: []string{"-note", "plot"}}, {Site: "@x", Year: 2015, State: "whole"}})
	rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	want := [][]string{{"pasture", "site", "year", "state", "lacks"}, {"'=cmd()", "'+Stake, \"3\"", "2014", "short", "'-note; plot"}, {"", "'@x", "2015", "whole", ""}}
	if err != nil || !slices.EqualFunc(rows, want, slices.Equal) {
		t.Errorf("%q, %v", rows, err)
	}
}
