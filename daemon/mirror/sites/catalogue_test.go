package sites

import (
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"linecamp/daemon/authority"
	"linecamp/daemon/ledger"
	"linecamp/manifest"
	"linecamp/manifest/seal"
)

// A version that is lost gives its number to another one, perhaps within one round. What
// the catalogue read of the first is not handed out as the second.
func TestANumberThatIsTakenAnew(t *testing.T) {
	const id = "linecamp:ranch:stake-1"
	day := time.Date(2026, 7, 1, 6, 0, 0, 0, time.UTC)
	first := func(text string) *Object {
		rec := manifest.Record{Site: "stake-1", Base: "stake-1", Paths: map[string]manifest.Entry{"notes.txt": {Bytes: int64(len(text)), Kind: manifest.KindNote}}}
		draft, err := manifest.New(id).Add(manifest.Next{Created: day, User: manifest.User{Name: "Ada"}, Message: text, State: map[string]manifest.Digest{"notes.txt": manifest.Sum([]byte(text))}, Record: rec})
		if err != nil {
			t.Fatal(err)
		}
		return &Object{Slug: "stake-1", Inv: draft.Inventory, Rec: &rec, Raw: draft.Record}
	}
	log, err := authority.NewLog("ranch", &seal.Seal{})
	if err != nil {
		t.Fatal(err)
	}
	add := func(line seal.Line) {
		line.At, line.Object, line.Version = day, id, 1
		if log, err = log.With(line); err != nil {
			t.Fatal(err)
		}
	}
	c := &Catalogue{Cache: ledger.OpenInventories(filepath.Join(t.TempDir(), "inventories")), Log: func() *authority.Log { return log }}
	for i := range 2 {
		o := first(fmt.Sprint("history ", i))
		if i > 0 {
			add(seal.Line{What: seal.Lost, Why: "out of reach"})
		}
		add(seal.Line{What: seal.Version, Inventory: manifest.Sum(o.Inv.Encode())})
		if err := c.Save(o); err != nil {
			t.Fatal(err)
		}
		got, err := c.Get(t.Context(), "stake-1")
		if err != nil {
			t.Fatal(err)
		}
		if got.Inv.Versions[0].Message != o.Inv.Versions[0].Message {
			t.Errorf("version 1 is %q, and the catalogue hands out %q", o.Inv.Versions[0].Message, got.Inv.Versions[0].Message)
		}
	}
}
