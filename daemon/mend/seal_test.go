package mend

import (
	"os"
	"strings"
	"testing"
	"time"

	"linecamp/manifest/seal"
	"linecamp/verify/verifytest"
)

// A seal that somebody rewrote is left, also where a check called it damaged.
func TestMendTouchesNoRewrittenSeal(t *testing.T) {
	for name, tt := range map[string]struct{ digits, copies int }{"a whole digest": {64, 2}, "nobody seconds": {1, 1}} {
		t.Run(name, func(t *testing.T) {
			r, _ := ranch(t, tt.copies)
			r.BendSeal(0, tt.digits)
			was, _ := os.ReadFile(r.Path(0, seal.File(0)))
			found, _ := damage(t, r, "")
			found[0].Detail = "its bytes differ"
			rep := mend(t, r, In{Damage: found, Seal: r.Seal})
			if len(rep.Mended) != 0 || len(rep.Unmended) != 1 || !strings.Contains(rep.Unmended[0].Reason, "rewritten") {
				t.Errorf("%+v", rep)
			}
			if now, _ := os.ReadFile(r.Path(0, seal.File(0))); string(now) != string(was) {
				t.Error("the seal was changed")
			}
		})
	}
}

// The seal of a copy that went another way does not get onto others, however
// long it is.
func TestMendTakesNoStrayedSeal(t *testing.T) {
	r, _ := ranch(t, 3)
	r.BendSeal(1, 64)
	file := r.Path(1, seal.File(0))
	b, _ := os.ReadFile(file)
	s, err := seal.Decode([][]byte{b})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Append(seal.Line{At: time.Now(), What: seal.GaveUp, Copy: r.Copies[2].ID}); err != nil {
		t.Fatal(err)
	}
	verifytest.Write(t, file, s.File(0), time.Now())
	verifytest.Flip(t, r.Path(0, seal.File(0)))
	verifytest.Flip(t, r.Path(0, slug+"/v1/inventory.json"))
	found, _ := damage(t, r, "")
	rep := mend(t, r, In{Damage: found, Seal: r.Seal, Only: "drive1"})
	if len(rep.Mended) != 2 || rep.Wants() {
		t.Errorf("%+v", rep)
	}
	if now, _ := os.ReadFile(r.Path(0, seal.File(0))); string(now) != string(r.Seal.File(0)) {
		t.Error("the seal is not the archive's")
	}
}
