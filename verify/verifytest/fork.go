package verifytest

import (
	"fmt"
	"time"

	"linecamp/manifest"
)

// Fork makes a copy go on from version 1 of a site by another way, with a version
// for each day: a photo of its own at the path. The seal names none of them.
func (r *Ranch) Fork(copy int, slug, path string, days ...time.Time) {
	r.T.Helper()
	inv := r.Heads[slug].Until(1)
	for n := 2; n <= r.Heads[slug].Head(); n++ {
		Remove(r.T, r.Path(copy, slug+"/"+fmt.Sprintf("v%d", n)))
	}
	b := inv.Encode()
	Write(r.T, r.Path(copy, slug+"/inventory.json"), b, time.Now())
	Write(r.T, r.Path(copy, slug+"/inventory.json.sha256"), manifest.Sidecar(b), time.Now())
	for _, day := range days {
		photo := Photo(path, day)
		photo.Entry.Bytes, photo.Entry.Modified = int64(len(photo.Bytes)), day
		draft, err := inv.Add(manifest.Next{Created: day, User: manifest.User{Name: "truck", Address: "urn:uuid:33333333-3333-4333-8333-333333333333"}, Message: "a round",
			State:  map[string]manifest.Digest{path: manifest.Sum(photo.Bytes)},
			Record: manifest.Record{Site: "Stake 3", Pasture: "Windmill", Base: "Windmill/Stake 3", Paths: map[string]manifest.Entry{path: photo.Entry}}})
		if err != nil {
			r.T.Fatal(err)
		}
		inv = draft.Inventory
		r.Bytes[manifest.Sum(photo.Bytes)] = photo.Bytes
		r.Bytes[manifest.Sum(draft.Record)] = draft.Record
		if err := r.commit(r.T.Context(), r.Copies[copy].Root, slug, inv, draft.New, draft.Encoded); err != nil {
			r.T.Fatal(err)
		}
	}
}
