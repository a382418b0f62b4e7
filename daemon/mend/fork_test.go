package mend

import (
	"os"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/verify"
	"linecamp/verify/verifytest"
)

// A copy that went another way, however far, does not tell what belongs on
// others: not even on one whose own manifests are all damaged.
func TestMendTakesNothingFromAForkedCopy(t *testing.T) {
	r, folder := ranch(t, 3)
	key := r.Key(slug, "2020-06-20/plot.jpg")
	good, err := os.ReadFile(r.Path(0, key))
	if err != nil {
		t.Fatal(err)
	}
	verifytest.Remove(t, r.Path(1, slug+"/v2"))
	inv := r.Heads[slug].Until(1)
	verifytest.Write(t, r.Path(1, slug+"/inventory.json"), inv.Encode(), time.Now())
	verifytest.Write(t, r.Path(1, slug+"/inventory.json.sha256"), manifest.Sidecar(inv.Encode()), time.Now())
	for year := 2020; year < 2022; year++ {
		inv = fork(t, r, inv, "2020-06-20/plot.jpg", verifytest.Day(year, 8, 1))
	}
	for _, file := range []string{"inventory.json", "v1/inventory.json", "v2/inventory.json"} {
		verifytest.Flip(t, r.Path(0, slug+"/"+file))
	}
	verifytest.Flip(t, r.Path(0, key))
	found, err := verify.Rot(t.Context(), r.Copies[0], r.Options())
	if err != nil {
		t.Fatal(err)
	}
	rep := mend(t, r, In{Damage: found.Damage, Folder: folder, Seal: r.Seal})
	if len(rep.Mended) != 3 || rep.Wants() {
		t.Errorf("%+v", rep)
	}
	if now, _ := os.ReadFile(r.Path(0, key)); string(now) != string(good) {
		t.Errorf("the photo is %q now, not %q", now, good)
	}
}

// fork makes a version on the second drive that the seal does not name.
func fork(t *testing.T, r *verifytest.Ranch, inv *manifest.Inventory, path string, at time.Time) *manifest.Inventory {
	t.Helper()
	photo := verifytest.Photo(path, at)
	photo.Entry.Bytes, photo.Entry.Modified = int64(len(photo.Bytes)), at
	draft, err := inv.Add(manifest.Next{Created: at, User: manifest.User{Name: "truck", Address: "urn:uuid:33333333-3333-4333-8333-333333333333"}, Message: "a round",
		State:  map[string]manifest.Digest{path: manifest.Sum(photo.Bytes)},
		Record: manifest.Record{Site: "Stake 3", Pasture: "Windmill", Base: "Windmill/Stake 3", Paths: map[string]manifest.Entry{path: photo.Entry}}})
	if err != nil {
		t.Fatal(err)
	}
	root := r.Copies[1].Root
	unlock, err := root.Lock(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer unlock()
	b, err := root.Begin(t.Context(), slug, draft.Inventory.Head())
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	for p, d := range draft.New {
		bytes := photo.Bytes
		if d != manifest.Sum(bytes) {
			bytes = draft.Record
		}
		if _, err := b.Put(t.Context(), p, store.Bytes(bytes)); err != nil {
			t.Fatal(err)
		}
	}
	if err := b.Commit(t.Context(), draft.Encoded); err != nil {
		t.Fatal(err)
	}
	return draft.Inventory
}
