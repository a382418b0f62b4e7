package mirror

import (
	"testing"

	"linecamp/daemon/authority"
)

// What is loose on a copy is noted, and the next round knows of it without looking through
// the copy. That it was read to its end is for the round to say that did: until then
// nothing is recorded beside it.
func TestALooseSiteSaysNotThatTheCopyWasRead(t *testing.T) {
	r := newRanch(t, "shelf")
	for _, read := range []bool{false, true} {
		if read {
			must(t, authority.MarkRead(r.led, "shelf"))
		}
		c := newCopyRun(&round{In: In{Ledger: r.led}}, Copy{ID: "shelf", Name: "shelf"})
		must(t, c.loose.Load())
		must(t, c.loose.Add("north--windmill", 2))
		if was, err := authority.WasRead(r.led, "shelf"); was != read || err != nil {
			t.Errorf("read is %v, want %v (%v)", was, read, err)
		}
		next := newCopyRun(c.r, c.Copy)
		must(t, next.loose.Load())
		if !next.loose.Has("north--windmill") || next.loose.Ours("north--windmill", 5) != 1 || next.loose.Ours("south--draw", 5) != 5 {
			t.Errorf("the next round knows of %v", next.loose.Slugs())
		}
		must(t, next.loose.Drop("north--windmill"))
		must(t, c.loose.Load())
		if c.loose.Has("north--windmill") {
			t.Error("it is loose for ever")
		}
	}
}
