package store_test

import (
	"testing"

	"linecamp/manifest/store"
)

// A version that was committed, and whose manifest rotted since at both of its
// places, is damaged. It is not taken for one that was never finished, which
// would be cleared away to make room for another of its number.
func TestARottenVersionIsNotClearedAway(t *testing.T) {
	p := drivePlace(t)
	ctx, r, s := t.Context(), p.made(t), newSite()
	files := map[string]string{"2019-06-21/plot.jpg": "plot 19"}
	s.store(t, r, s.next(t, nil, files))
	files["2020-06-19/plot.jpg"] = "plot 20"
	s.store(t, r, s.next(t, nil, files))
	before := keys(t, r, object)
	for _, name := range []string{"inventory.json", "v2/inventory.json"} {
		b, ok := p.read(object + "/" + name)
		if !ok {
			t.Fatalf("no %s", name)
		}
		b[len(b)/2] ^= 1
		p.remove(object + "/" + name)
		p.write(object+"/"+name, b)
	}
	_, err := r.Begin(ctx, object, 2)
	wantErr(t, err, store.ErrDamaged)
	if after := keys(t, r, object); len(after) != len(before) {
		t.Errorf("before %q, and afterwards %q", before, after)
	}
}
