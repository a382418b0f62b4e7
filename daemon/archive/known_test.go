package archive

import (
	"slices"
	"testing"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/ledger"
	"linecamp/daemon/reach"
	"linecamp/manifest/seal"
	"linecamp/verify/verifytest"
)

// What should exist is never taken from a copy that went another way, though its
// history be the longest.
func TestKnownFollowsTheSeal(t *testing.T) {
	r := verifytest.New(t, 2)
	const slug, path = "windmill--stake-3", "2020-06-20/plot.jpg"
	for year := 2020; year < 2022; year++ {
		r.Version(verifytest.Stake, verifytest.Day(year, 7, 1), verifytest.State{path: verifytest.Photo(path, verifytest.Day(year, 6, 20))})
	}
	r.Fork(0, slug, path, verifytest.Day(2021, 8, 1), verifytest.Day(2022, 8, 1))
	a := &Archive{Cache: ledger.OpenInventories(t.TempDir()), Now: time.Now}
	var copies reach.Copies
	for _, c := range r.Copies {
		copies.All = append(copies.All, &reach.Copy{Copy: config.Copy{Name: c.Name, ID: c.ID}, Root: c.Root})
	}
	k, err := a.Known(t.Context(), &copies)
	if err != nil {
		t.Fatal(err)
	}
	inv, _, err := k.Object(slug)
	if err != nil || string(inv.Encode()) != string(r.Heads[slug].Encode()) {
		t.Errorf("version %d, %v; want the %d of the seal", inv.Head(), err, r.Heads[slug].Head())
	}
}

// A closed object that another goes on from stands for no site any more, and its names mean
// the other one. What it had is judged all the same.
func TestAClosedObjectIsPartOfAnother(t *testing.T) {
	r := verifytest.New(t, 1)
	state := verifytest.State{"2020-06-20/plot.jpg": verifytest.Photo("2020-06-20/plot.jpg", verifytest.Day(2020, 6, 20))}
	old := verifytest.Stake
	r.Version(old, verifytest.Day(2020, 7, 1), state)
	if err := r.Seal.Append(seal.Line{N: r.Seal.Len() + 1, At: verifytest.Day(2020, 7, 2), What: seal.Closed, Object: r.Heads[old.Slug].ID, Version: 2, Why: "two"}); err != nil {
		t.Fatal(err)
	}
	further := old
	further.Slug, further.Joins = old.Slug+"-2", old.Slug
	for _, made := range []bool{false, true} {
		if made {
			r.Version(further, verifytest.Day(2020, 7, 3), state)
		}
		a := &Archive{Cache: ledger.OpenInventories(t.TempDir()), Now: time.Now}
		k, err := a.Known(t.Context(), &reach.Copies{All: []*reach.Copy{{Copy: config.Copy{Name: r.Copies[0].Name, ID: r.Copies[0].ID}, Root: r.Copies[0].Root}}})
		if err != nil {
			t.Fatal(err)
		}
		var present []string
		judged := 0
		for inv := range k.Pairs() {
			present = append(present, inv.Slug())
		}
		for range k.Objects() {
			judged++
		}
		want, all := old.Slug, 1
		if made {
			want, all = further.Slug, 2
		}
		if !slices.Equal(present, []string{want}) || judged != all {
			t.Errorf("made %v: there are %q, and %d are judged", made, present, judged)
		}
	}
}
