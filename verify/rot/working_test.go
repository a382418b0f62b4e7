package rot_test

import (
	"context"
	"errors"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/verify"
	"linecamp/verify/history"
	"linecamp/verify/rot"
	"linecamp/verify/verifytest"
)

// folder writes a state as a working folder below the site's base.
func folder(t testing.TB, s verifytest.State) string {
	dir := t.TempDir()
	for p, f := range s {
		verifytest.Write(t, filepath.Join(dir, "Windmill", "Stake 3", filepath.FromSlash(p)), f.Bytes, f.Modified)
	}
	return dir
}

// pairs yields the newest manifests and records of a ranch, from its first copy.
func pairs(t testing.TB, r *verifytest.Ranch) iter.Seq2[*manifest.Inventory, *manifest.Record] {
	return func(yield func(*manifest.Inventory, *manifest.Record) bool) {
		for slug := range r.Heads {
			inv, rec, err := history.ReadObject(context.Background(), r.Copies[0].Root, slug)
			if err != nil {
				t.Error(err)
			}
			if !yield(inv, rec) {
				return
			}
		}
	}
}

func TestWorking(t *testing.T) {
	state := verifytest.Visits(2019, 2020, 2021)
	r := verifytest.New(t, 1)
	r.Version(verifytest.Stake, verifytest.Day(2021, 7, 1), state)
	dir := folder(t, state)
	at := func(p string) string { return filepath.Join(dir, "Windmill/Stake 3", p) }
	mem := &verifytest.Memory{}
	o := rot.Options{Memory: mem}
	check := func() verify.CopyReport {
		t.Helper()
		rep, err := rot.Working(context.Background(), dir, pairs(t, r), o)
		if err != nil {
			t.Fatal(err)
		}
		return rep
	}
	if rep := check(); rep.Copy != "working" || rep.Files != 9 || rep.ReadBack.Files != 9 || len(rep.Damage) != 0 || rep.Waiting+rep.Absent != 0 {
		t.Errorf("untouched: %+v", rep)
	}
	o.Quick = true
	if rep := check(); rep.Matched.Files != 9 || len(rep.Damage) != 0 {
		t.Errorf("quick: %+v", rep)
	}

	verifytest.Flip(t, at("2019-06-21/plot.jpg"))                                           // rot
	verifytest.Write(t, at("2020-06-21/notes.txt"), []byte("rewritten"), time.Now())        // an edit
	verifytest.Remove(t, at("2021-06-21/plot.jpg"))                                         // deleted
	old := state["2021-06-21/notes.txt"]                                                    // touched only
	verifytest.Write(t, at("2021-06-21/notes.txt"), old.Bytes, old.Modified.Add(time.Hour)) //
	swapped := slices.Clone(state["2020-06-21/plot.jpg"].Bytes)                             // same size, new time
	swapped[0]++
	verifytest.Write(t, at("2020-06-21/plot.jpg"), swapped, time.Now())
	for _, quick := range []bool{true, false} {
		o.Quick = quick
		rep := check()
		if got := found(rep); !slices.Equal(got, []string{"altered Windmill/Stake 3/2019-06-21/plot.jpg v1"}) {
			t.Errorf("quick %v: found %q", quick, got)
		}
		if rep.Waiting != 2 || rep.Absent != 1 || rep.Files != 8 || rep.ReadBack.Files+rep.Matched.Files != 5 || rep.Unread.Files != 0 {
			t.Errorf("quick %v: %+v", quick, rep)
		}
	}
	if d := check().Damage[0]; d.Object != "windmill--stake-3" || d.Content != "2019-06-21/plot.jpg" || d.Site != "Stake 3" {
		t.Errorf("damage %+v", d)
	}
}

func TestWorkingIsNotThere(t *testing.T) {
	r := ranch(t, 1)
	if _, err := rot.Working(context.Background(), filepath.Join(t.TempDir(), "no"), pairs(t, r), rot.Options{}); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("error %v", err)
	}
}

// Links in the working folder are not followed out of it.
func TestWorkingFollowsNoLinks(t *testing.T) {
	state := verifytest.Visits(2019)
	r := verifytest.New(t, 1)
	r.Version(verifytest.Stake, verifytest.Day(2021, 7, 1), state)
	dir := folder(t, state)
	p := filepath.Join(dir, "Windmill/Stake 3/2019-06-21/plot.jpg")
	outside := filepath.Join(t.TempDir(), "plot.jpg")
	if err := os.Rename(p, outside); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(outside, p); err != nil {
		t.Fatal("no symbolic links here: ", err)
	}
	rep, err := rot.Working(context.Background(), dir, pairs(t, r), rot.Options{})
	if err != nil || rep.ReadBack.Files != 2 || rep.Waiting != 1 || len(rep.Damage) != 0 {
		t.Errorf("%+v, %v", rep, err)
	}
}

// Photos that changed names with each other keep both sizes and times equal to
// what the record says of the other; known bytes are no damage.
func TestWorkingPhotosThatChangedNames(t *testing.T) {
	when := verifytest.Day(2019, 6, 21)
	a, b := verifytest.File{Bytes: []byte("raw of the plot"), Modified: when}, verifytest.File{Bytes: []byte("raw of the view"), Modified: when}
	r := verifytest.New(t, 1)
	r.Version(verifytest.Stake, verifytest.Day(2021, 7, 1), verifytest.State{"2019-06-21/plot.dng": a, "2019-06-21/landscape.dng": b})
	dir := folder(t, verifytest.State{"2019-06-21/plot.dng": b, "2019-06-21/landscape.dng": a})
	rep, err := rot.Working(context.Background(), dir, pairs(t, r), rot.Options{})
	if err != nil || len(rep.Damage) > 0 || rep.Waiting != 2 {
		t.Errorf("%+v, %v; want both to wait for the next round", rep, err)
	}
}
