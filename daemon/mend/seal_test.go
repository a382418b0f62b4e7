package mend

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"os"
	"strings"
	"testing"
	"time"

	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/verify/rot"
	"linecamp/verify/verifytest"
)

// A seal of another history is left, and one that nobody seconds, also where a check
// called it damaged; each says what is next.
func TestMendTouchesNoRewrittenSeal(t *testing.T) {
	for name, tt := range map[string]struct {
		digits, copies int
		why            string
	}{"a whole digest": {64, 2, "`linecamp mirror` on the recording computer"}, "nobody seconds": {1, 1, "--add-copy"}} {
		t.Run(name, func(t *testing.T) {
			r, _ := ranch(t, tt.copies)
			r.BendSeal(0, tt.digits)
			was, _ := os.ReadFile(r.Path(0, seal.File(0)))
			found, _ := damage(t, r, "")
			found[0].Detail = "its bytes differ"
			rep := mend(t, r, In{Damage: found, Seal: r.Seal})
			if len(rep.Mended) != 0 || len(rep.Unmended) != 1 || !strings.Contains(rep.Unmended[0].Reason, tt.why) {
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
func TestMendTakesNoPartedSeal(t *testing.T) {
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
	verifytest.Write(t, file, s.Text(0, s.Len()), time.Now())
	verifytest.Flip(t, r.Path(0, seal.File(0)))
	verifytest.Flip(t, r.Path(0, slug+"/v1/inventory.json"))
	found, _ := damage(t, r, "")
	rep := mend(t, r, In{Damage: found, Seal: r.Seal, Only: "drive1"})
	if len(rep.Mended) != 2 || rep.Wants() {
		t.Errorf("%+v", rep)
	}
	if now, _ := os.ReadFile(r.Path(0, seal.File(0))); string(now) != string(r.Seal.Text(0, r.Seal.Len())) {
		t.Error("the seal is not the archive's")
	}
}

// Which lines a damaged file of the seal has to hold, this copy's own files around it
// tell: another copy may be divided otherwise.
func TestMendSealDividedOtherwise(t *testing.T) {
	files := []int{70, 3, 0, 60, 40}
	for name, harm := range map[string]func(t *testing.T, path func(int) string, all func(from, to int) []byte){
		"the first gone":            func(t *testing.T, path func(int) string, _ func(int, int) []byte) { os.Remove(path(0)) },
		"one in the middle gone":    func(t *testing.T, path func(int) string, _ func(int, int) []byte) { os.Remove(path(1)) },
		"the last gone":             func(t *testing.T, path func(int) string, _ func(int, int) []byte) { os.Remove(path(4)) },
		"one in the middle flipped": func(t *testing.T, path func(int) string, _ func(int, int) []byte) { verifytest.Flip(t, path(3)) },
		"the last flipped":          func(t *testing.T, path func(int) string, _ func(int, int) []byte) { verifytest.Flip(t, path(4)) },
		"one in the middle longer": func(t *testing.T, path func(int) string, all func(int, int) []byte) {
			verifytest.Write(t, path(1), all(70, 90), time.Now())
		},
		"the first as another copy has it": func(t *testing.T, path func(int) string, all func(int, int) []byte) {
			verifytest.Write(t, path(0), all(0, 173), time.Now())
		},
		"two neighbors flipped": func(t *testing.T, path func(int) string, _ func(int, int) []byte) {
			verifytest.Flip(t, path(0))
			verifytest.Flip(t, path(1))
		},
	} {
		t.Run(name, func(t *testing.T) {
			r, _ := ranch(t, 3)
			for r.Seal.Len() < 173 {
				if err := r.Seal.Append(seal.Line{At: time.Now(), What: seal.GaveUp, Copy: r.Copies[2].ID}); err != nil {
					t.Fatal(err)
				}
			}
			for i, c := range r.Copies {
				if err := store.WriteSeal(t.Context(), c.Root, r.Seal); err != nil {
					t.Fatal(i, err)
				}
			}
			path := func(i int) string { return r.Path(0, seal.File(i)) }
			n := 0
			for i, lines := range files {
				verifytest.Write(t, path(i), r.Seal.Text(n, n+lines), time.Now())
				n += lines
			}
			if found, _ := damage(t, r, ""); len(found) != 0 {
				t.Fatalf("divided otherwise counts as damage: %+v", found)
			}
			harm(t, path, r.Seal.Text)
			for range len(files) {
				found, _ := damage(t, r, "")
				if len(found) == 0 {
					break
				}
				if rep := mend(t, r, In{Damage: found, Seal: r.Seal}); rep.Wants() {
					t.Fatalf("%+v", rep.Unmended)
				}
			}
			if found, _ := damage(t, r, ""); len(found) != 0 {
				t.Errorf("%+v", found)
			}
			want := 173
			if name == "the last gone" {
				want -= 40 // then the copy is behind, and nothing is damaged
			}
			if got, err := store.ReadSeal(t.Context(), r.Copies[0].Root); err != nil || got.Digest() != r.Seal.DigestOf(want) {
				t.Errorf("the seal is not the archive's first %d lines: %v", want, err)
			}
		})
	}
}

// busySeal is a copy whose seal another machine is writing, when it is first looked at.
type busySeal struct {
	store.Root
	left *int
}

func (b busySeal) List(ctx context.Context, prefix string) iter.Seq2[store.Info, error] {
	if prefix == store.SealFolder && *b.left > 0 {
		*b.left--
		return func(yield func(store.Info, error) bool) {
			yield(store.Info{}, fmt.Errorf("the seal: %w", store.ErrBusy))
		}
	}
	return b.Root.List(ctx, prefix)
}

// A seal that another machine is writing is not damaged: it is left as it is, and what it
// tells next time decides.
func TestMendLeavesABusySeal(t *testing.T) {
	r, _ := ranch(t, 2)
	r.BendSeal(0, 64) // another history
	was, _ := os.ReadFile(r.Path(0, seal.File(0)))
	found, _ := damage(t, r, "")
	found[0].Detail = "its bytes differ"
	left := 2
	r.Copies[0].Root = busySeal{r.Copies[0].Root, &left}
	rep := mend(t, r, In{Damage: found, Seal: r.Seal})
	if len(rep.Mended) != 0 || len(rep.Unmended) != 1 || !strings.Contains(rep.Unmended[0].Reason, store.ErrBusy.Error()) {
		t.Errorf("%+v", rep)
	}
	if now, _ := os.ReadFile(r.Path(0, seal.File(0))); string(now) != string(was) {
		t.Error("the seal was changed")
	}
	left = 1
	if rep, err := rot.Check(t.Context(), r.Copies[0], r.Options()); err == nil || !errors.Is(err, store.ErrBusy) {
		t.Errorf("a check says %+v, %v", rep.Damage, err)
	}
}
