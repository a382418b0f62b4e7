package archive

import (
	"testing"

	"linecamp/daemon/attention"
	"linecamp/daemon/config"
	"linecamp/daemon/mirror/late"
	"linecamp/daemon/mirror/report"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/verify"
)

// That a copy had a log which is nowhere any more is forgotten once a person is told of
// that log, and of no other.
func TestALogIsForgottenOnceAPersonIsTold(t *testing.T) {
	const id = "3f6c0d52-8a31-4c1e-9d57-0b6a4f2e7c19"
	dir, d := t.TempDir(), manifest.Sum([]byte("log"))
	a, err := Open(config.Archive{Name: "saltbush-draw", State: dir, Copies: []config.Copy{{Name: "shelf", Kind: config.KindDrive, ID: id, Root: dir + "/none"}}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	found := []verify.Damage{{Copy: "shelf", Path: verify.SealPath, Kind: verify.Gone, Content: store.LateKey(d)}}
	if err := late.Went(a.Ledger, id, found); err != nil {
		t.Fatal(err)
	}
	if err := a.SetDamage("shelf", id, found); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		asks []report.Ask
		left int
	}{
		{nil, 1},
		{[]report.Ask{report.Ask(late.Nowhere(manifest.Sum(nil)))}, 1},
		{[]report.Ask{report.Ask(late.Nowhere(d))}, 0},
	} {
		if err := a.NoteWaits(nil, c.asks); err != nil {
			t.Fatal(err)
		}
		had, err := late.Had(a.Ledger, id)
		damage, wrong := a.Damage()
		if err != nil || wrong != nil || len(had) != c.left || len(damage) != c.left {
			t.Errorf("told %q: %v, %+v, %v, %v", c.asks, had, damage, err, wrong)
		}
		var waits []attention.Wait
		if err := a.Recall(KeyWaits, &waits); err != nil || len(waits) != len(c.asks) {
			t.Errorf("told %q: kept %+v, %v", c.asks, waits, err)
		}
	}
}
