package mend

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/verify"
	"linecamp/verify/verifytest"
)

// A seal that looks as if it rotted is kept before it is replaced.
func TestMendKeepsTheSealItReplaces(t *testing.T) {
	r, folder := ranch(t, 2)
	r.BendSeal(0, 2)
	was, err := store.ReadSeal(t.Context(), r.Copies[0].Root)
	if err != nil {
		t.Fatal(err)
	}
	found, _ := damage(t, r, folder)
	rep := mend(t, r, In{Damage: found, Folder: folder, Seal: r.Seal})
	if len(rep.Mended) != 1 || rep.Wants() {
		t.Errorf("%+v", rep)
	}
	if now, err := store.ReadSeal(t.Context(), r.Copies[0].Root); err != nil || now.Digest() != r.Seal.Digest() {
		t.Errorf("the seal is not mended: %v", err)
	}
	kept := 0
	for log, err := range store.LateLogs(t.Context(), r.Copies[0].Root) {
		if err != nil || log.Digest() != was.Digest() {
			t.Errorf("it keeps %v, %v", log, err)
		}
		kept++
	}
	if kept != 1 {
		t.Errorf("it keeps %d logs", kept)
	}
}

// The log of another history is mended from a copy that has it whole, and only so.
func TestMendTakesALateLogFromAnotherCopy(t *testing.T) {
	r, folder := ranch(t, 3)
	x := new(seal.Seal)
	if err := x.Append(seal.Line{At: verifytest.Day(2020, 1, 1), What: seal.GaveUp, Copy: r.Copies[1].ID}); err != nil {
		t.Fatal(err)
	}
	key := store.LateFolder + "/" + x.Digest().String() + ".txt"
	for _, c := range r.Copies {
		if err := store.PutLate(t.Context(), c.Root, x); err != nil {
			t.Fatal(err)
		}
	}
	verifytest.Flip(t, r.Path(0, key))
	found, _ := damage(t, r, folder)
	if err := os.RemoveAll(filepath.Dir(r.Path(1, key))); err != nil {
		t.Fatal(err)
	}
	found = append(found, verify.Damage{Copy: r.Copies[1].Name, Path: verify.SealPath, Kind: verify.Gone, Content: key})
	rep := mend(t, r, In{Damage: found, Folder: folder, Seal: r.Seal})
	if len(rep.Mended) != 2 || rep.Wants() || rep.Mended[0].From != "drive3" {
		t.Errorf("%+v", rep)
	}
	for i := range r.Copies {
		if b, err := os.ReadFile(r.Path(i, key)); err != nil || string(b) != string(x.Text(0, 1)) {
			t.Errorf("drive%d: %v", i+1, err)
		}
		verifytest.Flip(t, r.Path(i, key))
	}
	found, _ = damage(t, r, folder)
	if rep := mend(t, r, In{Damage: found, Folder: folder, Seal: r.Seal}); len(rep.Mended) != 0 || len(rep.Unmended) != 3 {
		t.Errorf("with none whole: %+v", rep)
	}
}

// So is one that does not read: its other lines may be the only ones that name what the
// copy has. One that is longer than every other is left, with what to do about it.
func TestMendKeepsTheSealThatDoesNotRead(t *testing.T) {
	for _, longer := range []bool{false, true} {
		r, folder := ranch(t, 2)
		b := r.Seal.Text(0, r.Seal.Len())
		if longer {
			own := r.Seal.Clone()
			if err := own.Append(seal.Line{At: time.Now(), What: seal.GaveUp, Copy: r.Copies[1].ID}); err != nil {
				t.Fatal(err)
			}
			b = own.Text(0, own.Len())
		}
		b[11] = 'x' // the time of the first line
		verifytest.Write(t, r.Path(0, seal.File(0)), b, time.Now())
		found, _ := damage(t, r, folder)
		rep := mend(t, r, In{Damage: found, Folder: folder, Seal: r.Seal})
		kept, err := store.LateFile(t.Context(), r.Copies[0].Root, manifest.Sum(b))
		if longer {
			if len(rep.Unmended) != 1 || !strings.Contains(rep.Unmended[0].Reason, "setup --take-over") || err == nil {
				t.Errorf("%+v, %v", rep, err)
			}
			continue
		}
		if len(rep.Mended) != 1 || rep.Wants() || err != nil || string(kept) != string(b) {
			t.Errorf("%+v, %v", rep, err)
		}
	}
}
