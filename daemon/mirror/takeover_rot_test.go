package mirror

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3test"
)

// A person takes over with what a lost computer left: a copy whose seal does not read any
// more is named, and nothing waits for it. The next round keeps what is there of it and has
// the archive's in its place.
func TestTakeOverPastASealThatDoesNotRead(t *testing.T) {
	for _, bucket := range []bool{false, true} {
		for _, state := range []string{"lost", "kept"} {
			t.Run(fmt.Sprint("bucket: ", bucket, ", state ", state), func(t *testing.T) {
				r := newRanch(t, "shelf")
				if bucket {
					r.addBucket(s3test.Fake(t), "loft")
				} else {
					r.addDrive("loft")
				}
				r.write("North/Alder/2020-06-20/1.jpg", "first")
				r.write("North/Beech/2020-06-20/1.jpg", "second")
				r.wantCurrent(r.mirror())
				shelf, loft := r.copies[0], r.copies[1]
				rotSeal(t, loft.root, "north--beech v1", "north--beech w1")
				rotten, _, err := store.ReadSmall(t.Context(), loft.root, seal.File(0), 1<<20)
				must(t, err)
				if state == "lost" {
					r.loseState()
				}
				r.author = newID
				taken := r.takeOver("new")
				if len(taken.Parted) != 1 || taken.Parted[0] != "loft" {
					t.Errorf("%+v", taken)
				}
				for _, c := range r.copies {
					if a, _, err := store.ReadAuthor(t.Context(), c.root); err != nil || a.Author != newID || a.Epoch != 2 {
						t.Errorf("%s names %+v, %v", c.name, a, err)
					}
				}
				r.write("North/Cedar/2020-06-20/1.jpg", "third")
				rep := r.mirror()
				if rep.Made != 1 || rep.Copies[0].State != reach.Current || rep.Copies[1].State != reach.Current {
					t.Errorf("%+v", rep)
				}
				if author, _ := logOf(t, shelf.root).Author(); author != newID {
					t.Errorf("the seal names %s", author)
				}
				if !logOf(t, loft.root).Extends(logOf(t, shelf.root)) {
					t.Error("loft's seal is not the archive's")
				}
				if kept, err := store.LateFile(t.Context(), loft.root, manifest.Sum(rotten)); err != nil || !bytes.Equal(kept, rotten) {
					t.Errorf("what was there of it is not kept: %v", err)
				}
				if rep := r.mirror(); rep.Made != 0 || rep.Copies[1].State != reach.Current {
					t.Errorf("%+v", rep)
				}
			})
		}
	}
}

// Where no copy in reach has a seal that reads, or only one in which nothing was recorded,
// a take-over would forget what was: it is refused, and changes nothing.
func TestNoTakeOverWithoutASealThatReads(t *testing.T) {
	for _, other := range []bool{false, true} {
		r := newRanch(t, "shelf")
		r.write("North/Alder/2020-06-20/1.jpg", "first")
		r.mirror()
		rotSeal(t, r.copies[0].root, "north--alder v1", "north--alder w1")
		r.loseState()
		r.author = newID
		if other {
			r.addDrive("blank")
		}
		if _, err := r.tryTakeOver("new"); !errors.Is(err, seal.ErrInvalid) || !strings.Contains(fmt.Sprint(err), "shelf") {
			t.Errorf("another copy %v: %v", other, err)
		}
		if a, _, err := store.ReadAuthor(t.Context(), r.copies[0].root); err != nil || a.Author != authorID {
			t.Errorf("shelf names %+v, %v", a, err)
		}
	}
}

// A digit of the seal rotted on one of two copies, and this machine's state knows neither: the
// one that names the manifests that are there goes on, whichever sorts first.
func TestWhatManifestsTellGoesOn(t *testing.T) {
	for _, rotten := range []int{0, 1} {
		for _, takesOver := range []bool{false, true} {
			for _, to := range []string{"0", "f"} {
				t.Run(fmt.Sprint(rotten, ", takes over: ", takesOver, ", ", to), func(t *testing.T) {
					r := newRanch(t, "shelf", "loft")
					r.write("North/Alder/2020-06-20/1.jpg", "first")
					r.write("North/Beech/2020-06-20/1.jpg", "second")
					r.wantCurrent(r.mirror())
					r.wantCurrent(r.mirror())
					whole := logOf(t, r.copies[0].root)
					d := whole.Lines()[1].Inventory.String()
					at := strings.IndexFunc(d, func(c rune) bool { return c != '0' && c != 'f' })
					rotSeal(t, r.copies[rotten].root, d, d[:at]+to+d[at+1:])
					r.loseState()
					after := reach.Failed // it waits for a mend
					if takesOver {
						r.author, after = newID, reach.Current
						if taken := r.takeOver("new"); len(taken.Parted) != 1 || taken.Parted[0] != r.copies[rotten].name {
							t.Errorf("%+v", taken)
						}
					}
					rep := r.mirror()
					if rep.Copies[1-rotten].State != reach.Current || rep.Copies[rotten].State != after {
						t.Errorf("%+v", rep)
					}
					if kept, err := r.cache.Seal(); err != nil || !kept.Extends(whole) {
						t.Errorf("it goes on with %v, %v", kept, err)
					}
					if log := logOf(t, r.copies[rotten].root); takesOver && !log.Extends(whole) {
						t.Errorf("what gave way still stands:\n%s", log.Text(0, 99))
					}
				})
			}
		}
	}
}
