package mirror

import (
	"os"
	"path/filepath"
	"testing"

	"linecamp/daemon/reach"
)

// Two drives that are never plugged in together: each receives what was
// recorded while the other was there, several versions of one site included.
func TestDrivesThatNeverMeet(t *testing.T) {
	r := newRanch(t, "odd", "even")
	odd, even := r.copies[0], r.copies[1]
	r.visit("North/Windmill", "2018-06-21")
	r.mirror()
	for month := range 3 {
		odd.away, even.away = month%2 == 0, month%2 == 1
		here := r.copies[month%2^1]
		for _, day := range []string{"11", "12", "13"} {
			r.visit("North/Windmill", "202"+string(rune('0'+month))+"-06-"+day)
			rep := r.mirror()
			if rep.Made != 1 {
				t.Fatalf("month %d: %+v", month, rep)
			}
			for i, c := range rep.Copies {
				if r.copies[i] == here && c.State != reach.Current {
					t.Errorf("month %d: %s is %s: %s", month, c.Copy, c.State, c.Error)
				}
			}
		}
		if !exists(t, filepath.Join(r.state, "records", "older", "north--windmill")) {
			t.Errorf("month %d: no record was set aside", month)
		}
	}
	odd.away, even.away = false, false
	r.wantCurrent(r.mirror())
	r.mirror()
	if left, _ := os.ReadDir(filepath.Join(r.state, "records", "older")); len(left) > 0 {
		t.Errorf("%d records are kept that every copy has", len(left))
	}
}
