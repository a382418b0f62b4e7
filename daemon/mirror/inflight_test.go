package mirror

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"linecamp/daemon/reach"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3test"
)

// beforeLog does something before the given write to a file of a seal's log, once.
type beforeLog struct {
	left int // -1: nothing is to be done any more
	do   func()
}

func (b *beforeLog) RoundTrip(q *http.Request) (*http.Response, error) {
	if b.left > 0 && q.Method == http.MethodPut && strings.Contains(q.URL.Path, "/linecamp-seal/log/") {
		if b.left--; b.left == 0 {
			b.left = -1
			b.do()
		}
	}
	return http.DefaultTransport.RoundTrip(q)
}

// The computer that recorded in a bucket has a line on its way while the bucket's seal gives
// way to the archive's, at each write of that. The round of the one that records leaves no
// seal that does not read: a later one of its own accord puts right what there is, and every
// line is kept.
func TestALineInFlightWhileASealIsReplaced(t *testing.T) {
	broken := 0
	at, last := 1, 4 // the seal of two files is replaced by three writes
	if testing.Short() {
		at, last = 2, 2
	}
	for ; at <= last; at++ {
		srv := s3test.Fake(t)
		office := newRanch(t, "shelf")
		hook := &beforeLog{}
		office.addBucket(srv, "loft", hook)
		office.write("North/Alder/2020-06-20/1.jpg", "first")
		office.wantCurrent(office.mirror())
		shelf, loft := office.copies[0], office.copies[1]

		barn := office.beside(barnID, false) // goes on in the bucket
		barn.folder = t.TempDir()
		barn.write("North/Alder/2020-06-20/1.jpg", "first")
		for i := range 66 {
			barn.write(fmt.Sprintf("South/Stake %d/2021-06-21/1.jpg", i), fmt.Sprint("barn's ", i))
		}
		barn.copies[0].away = true
		barn.takeOver("barn")
		if rep := barn.mirror(); rep.Made != 66 {
			t.Fatalf("%+v", rep)
		}
		theirs := logOf(t, loft.root)
		longer := theirs.Clone()
		must(t, longer.Append(seal.Line{N: theirs.Len() + 1, At: barn.now, What: seal.GaveUp, Copy: barnID, Why: "in flight"}))

		office.now = barn.now
		loft.away = true // and the office, on the drive, with a later word
		office.author = newID
		office.takeOver("office")
		office.write("North/Beech/2020-06-20/1.jpg", "second")
		office.mirror()
		loft.away = false

		hook.left, hook.do = at, func() { _ = store.WriteSeal(t.Context(), barn.copies[1].root, longer) }
		rep := office.mirror()
		if hook.left > 0 {
			t.Fatalf("there is no write %d", at)
		}
		if _, err := store.ReadSeal(t.Context(), loft.root); err != nil {
			broken++
			t.Logf("at write %d: %v", at, err)
		}
		for range 3 {
			rep = office.mirror()
		}
		for _, c := range rep.Copies {
			if c.State != reach.Current {
				t.Errorf("at write %d: %s is %s: %s", at, c.Copy, c.State, c.Error)
			}
		}
		if ours := logOf(t, shelf.root); logOf(t, loft.root).Digest() != ours.Digest() {
			t.Errorf("at write %d: the bucket's seal is not the archive's", at)
		}
		kept := map[bool]bool{}
		for log, err := range store.LateLogs(t.Context(), shelf.root) {
			must(t, err)
			kept[log.Extends(theirs)] = true
		}
		if !kept[true] {
			t.Errorf("at write %d: the seal that gave way is not kept", at)
		}
	}
	if broken == 0 {
		t.Error("no line came so that the seal did not read: the test is too weak")
	}
}
