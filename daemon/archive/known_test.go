package archive

import (
	"testing"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/ledger"
	"linecamp/daemon/reach"
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
