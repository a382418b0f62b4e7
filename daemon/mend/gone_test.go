package mend

import (
	"os"
	"path/filepath"
	"testing"

	"linecamp/manifest/store"
	"linecamp/verify/rot"
)

// A site goes from a copy as a whole. It is put back, with the pair at its top,
// if all of its files can be had; else nothing says that the version is there.
func TestASiteThatWentIsPutBackWholeOrNotAtAll(t *testing.T) {
	for name, other := range map[string]bool{"the other copy is in reach": true, "it is not": false} {
		t.Run(name, func(t *testing.T) {
			r, _ := ranch(t, 2)
			if err := os.RemoveAll(filepath.Join(r.Dirs[0], slug)); err != nil {
				t.Fatal(err)
			}
			o := r.Options()
			o.Had = map[string]int{slug: r.Heads[slug].Head()}
			found, err := rot.Check(t.Context(), r.Copies[0], o)
			if err != nil {
				t.Fatal(err)
			}
			in := In{Damage: found.Damage, Seal: r.Seal, Expected: r.Expected}
			copies := r.Copies
			if !other {
				r.Copies = r.Copies[:1]
			}
			rep := mend(t, r, in)
			r.Copies = copies
			inv, settled, err := store.HeadSettled(t.Context(), r.Copies[0].Root, slug)
			if !other {
				if err == nil || !rep.Wants() {
					t.Errorf("version %d counts as there: %+v", inv.Head(), rep)
				}
				return
			}
			if err != nil || !settled || inv.Head() != r.Heads[slug].Head() || rep.Wants() {
				t.Fatalf("%v, settled %v: %+v", err, settled, rep)
			}
			again, err := rot.Check(t.Context(), r.Copies[0], o)
			if err != nil || len(again.Damage)+len(again.Behind)+len(again.Unfinished) > 0 {
				t.Errorf("%v: %+v", err, again)
			}
		})
	}
}
