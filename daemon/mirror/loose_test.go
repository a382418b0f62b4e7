package mirror

import (
	"testing"

	"linecamp/daemon/authority"
)

// What is loose on a copy has it looked through again. That it was read to its end is for
// the round to say that did: until then nothing is recorded beside it.
func TestALooseSiteSaysNotThatTheCopyWasRead(t *testing.T) {
	r := newRanch(t, "shelf")
	for _, read := range []bool{false, true} {
		if read {
			must(t, authority.MarkRead(r.led, "shelf"))
		}
		must(t, authority.MarkScanned(r.led, "shelf"))
		c := newCopyRun(&round{In: In{Ledger: r.led}}, Copy{ID: "shelf", Name: "shelf"})
		must(t, c.loosen("north--windmill", 2))
		if was, err := authority.WasRead(r.led, "shelf"); was != read || err != nil {
			t.Errorf("read is %v, want %v (%v)", was, read, err)
		}
		if scanned, err := authority.WasScanned(r.led, "shelf"); scanned || err != nil {
			t.Errorf("it is not looked through again (%v)", err)
		}
	}
}
