package walk

import (
	"testing"
	"time"
)

// The values are those of Windows' "File Attribute Constants".
func TestFilesThatAreOnlyOnlineAreTold(t *testing.T) {
	for attributes, want := range map[uint32]bool{
		0x20: false, 0x80: false, 0x400: false, 0x80000: false, // archive, normal, reparse point, pinned
		0x1000: true, 0x40000: true, 0x400000: true, 0x400020: true, 0x501620: true,
	} {
		if got := onlineOnly(attributes); got != want {
			t.Errorf("%#x: %v", attributes, got)
		}
	}
}

// One that was recorded before it went is taken from what is known; any other waits for
// a person, and is not put in line to be read.
func TestFilesThatAreOnlyOnlineAreNotRead(t *testing.T) {
	now := time.Date(2026, 11, 2, 12, 0, 0, 0, time.UTC)
	st := stat{size: 3, modified: now.Add(-time.Hour), what: regular, online: true}
	l := &listing{now: now, known: []Known{{Name: "b.jpg", Size: 3, Modified: st.modified, XXH64: 7}}}
	w := &walker{}
	w.regular(l, "a.jpg", st)
	if len(l.todo) > 0 || l.files[0].Reason != reasonOnline || (Waiting{Reason: l.files[0].Reason}).Passes() {
		t.Errorf("unknown: %+v, %d to be read", l.files[0], len(l.todo))
	}
	w.regular(l, "b.jpg", st)
	if len(l.todo) > 0 || l.files[1].Reason != "" || l.files[1].XXH64 != 7 {
		t.Errorf("known: %+v, %d to be read", l.files[1], len(l.todo))
	}
	st.online = false
	w.regular(l, "c.jpg", st)
	if len(l.todo) != 1 {
		t.Error("one that is here is not read")
	}
}
