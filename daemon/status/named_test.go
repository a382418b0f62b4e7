package status

import (
	"fmt"
	"testing"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/ledger"
	"linecamp/daemon/mirror/late"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/verify"
)

const shelfID = "33333333-3333-4333-8333-333333333333"

// A new state counts what a copy holds from the manifests: no version of another
// history, no content that is on record as gone, and no file of a version whose number
// another one has by now.
func TestOnlyWhatACopyHoldsIsCounted(t *testing.T) {
	day := time.Date(2026, 7, 1, 6, 0, 0, 0, time.UTC)
	dir := t.TempDir()
	l, err := ledger.Open(dir)
	must(t, err)
	defer l.Close()
	a := &archive.Archive{Ledger: l, Cache: ledger.OpenInventories(dir)}
	log, err := seal.Decode(nil)
	must(t, err)
	site := func(versions ...[]string) {
		inv := manifest.New("linecamp:ranch:stake-1")
		for i, photos := range versions {
			state, rec := map[string]manifest.Digest{}, manifest.Record{Site: fmt.Sprint("Stake ", i), Base: "Stake 1", Paths: map[string]manifest.Entry{}}
			for _, p := range photos {
				state[p], rec.Paths[p] = manifest.Sum([]byte(p)), manifest.Entry{Bytes: 5, Kind: manifest.KindPhoto}
			}
			draft, err := inv.Add(manifest.Next{Created: day, User: manifest.User{Name: "office"}, State: state, Record: rec})
			must(t, err)
			inv = draft.Inventory
			must(t, a.Cache.Put("stake-1", draft.Encoded))
		}
	}
	add := func(line seal.Line) {
		line.N, line.At = log.Len()+1, day
		must(t, log.Append(line))
		must(t, a.Cache.PutSeal(log))
	}
	version := func(what string, n int) {
		add(seal.Line{What: what, Object: "linecamp:ranch:stake-1", Version: n, Inventory: manifest.Sum([]byte(fmt.Sprint(what, n)))})
	}
	want := func(what string, files int) {
		t.Helper()
		n, err := recallNamed(a)
		must(t, err)
		got, err := n.figures(shelfID)
		must(t, err)
		must(t, n.remember())
		if got.Files != files {
			t.Errorf("%s: %d files are counted, not %d", what, got.Files, files)
		}
	}

	site([]string{"a.jpg"}, []string{"a.jpg", "b.jpg"}, []string{"a.jpg", "b.jpg", "c.jpg"})
	for n := range 3 {
		version(seal.Version, n+1)
	}
	must(t, l.SetCommitted(shelfID, "stake-1", 3))
	want("all is the archive's", 3)

	loose := late.Loose{CopyID: shelfID, Notes: l}
	must(t, loose.Load())
	must(t, loose.Add("stake-1", 2))
	want("from v2 on another history's", 1)
	must(t, loose.Add("stake-1", 0))
	want("nobody found out whose they are", 0)
	must(t, loose.Drop("stake-1"))

	must(t, l.SetDamage(shelfID, []verify.Damage{{Object: "stake-1", Content: "v2/content/b.jpg", Kind: verify.Gone},
		{Object: "stake-1", Content: "v3/content/c.jpg", Kind: verify.Altered}}))
	want("one is gone", 2)
	must(t, l.SetDamage(shelfID, nil))

	must(t, l.Remember(shelfID, "stake-1", []verify.Held{{Path: "v1/content/a.jpg", SHA256: manifest.Sum([]byte("a.jpg")), Size: 5, Files: 1}}))
	lost := func() {
		add(seal.Line{What: seal.Lost, Object: "linecamp:ranch:stake-1", Version: 2, Why: "no copy has it"})
		must(t, l.SetCommitted(shelfID, "stake-1", 2))
	}
	site([]string{"a.jpg"}, []string{"a.jpg"})
	lost()
	version(seal.Version, 2)
	want("v2 has no photo of its own", 1)
	site([]string{"a.jpg"}, []string{"a.jpg", "d.jpg"})
	lost()
	version(seal.Version, 2)
	want("another v2 has one", 2)
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
