package mend

import (
	"os"
	"testing"

	"linecamp/verify/rot"
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
	r.Fork(1, slug, "2020-06-20/plot.jpg", verifytest.Day(2020, 8, 1), verifytest.Day(2021, 8, 1))
	for _, file := range []string{"inventory.json", "v1/inventory.json", "v2/inventory.json"} {
		verifytest.Flip(t, r.Path(0, slug+"/"+file))
	}
	verifytest.Flip(t, r.Path(0, key))
	found, err := rot.Check(t.Context(), r.Copies[0], r.Options())
	if err != nil {
		t.Fatal(err)
	}
	rep := mend(t, r, In{Damage: found.Damage, Folder: folder, Seal: r.Seal})
	if len(rep.Mended) != 4 || rep.Wants() { // the two versions' manifests, the photo, and the pair at the top
		t.Errorf("%+v", rep)
	}
	if now, _ := os.ReadFile(r.Path(0, key)); string(now) != string(good) {
		t.Errorf("the photo is %q now, not %q", now, good)
	}
}
