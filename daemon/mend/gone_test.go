package mend

import (
	"context"
	"os"
	"path/filepath"
	"strings"
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

// notManifests is a drive that takes everything but manifests.
type notManifests struct{ store.Root }

func (r notManifests) Mend(ctx context.Context, key string, c store.Content, aside string) error {
	if strings.HasSuffix(key, "/inventory.json") {
		return store.ErrFull
	}
	return r.Root.Mend(ctx, key, c, aside)
}

// Where a manifest cannot be put back, its sidecar is not put there alone: with it,
// a version counts as there.
func TestNoSidecarIsPutBackWithoutItsManifest(t *testing.T) {
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
	r.Copies[0].Root = notManifests{r.Copies[0].Root}
	rep := mend(t, r, In{Damage: found.Damage, Seal: r.Seal, Expected: r.Expected})
	if sidecars, _ := filepath.Glob(filepath.Join(r.Dirs[0], slug, "v*", "inventory.json.sha256")); len(sidecars) > 0 || len(rep.Mended) == 0 || len(rep.Unmended) == 0 {
		t.Errorf("%v are there; %+v", sidecars, rep)
	}
}
