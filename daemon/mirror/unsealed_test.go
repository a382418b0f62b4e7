package mirror

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"

	"linecamp/daemon/reach"
	"linecamp/manifest/store"
)

// badSeal is a drive that fails while a line is added to its seal.
type badSeal struct {
	store.Root
	reached bool // the line is on the drive when the error comes
	failed  bool // from then on the seal there cannot be read
}

var errBadSeal = errors.New("input/output error")

func isSeal(key string) bool { return strings.HasPrefix(key, "extensions/linecamp-seal/") }

func (b *badSeal) Replace(ctx context.Context, key string, c store.Content, was *store.Info) (store.Info, error) {
	if !isSeal(key) {
		return b.Root.Replace(ctx, key, c, was)
	}
	if b.reached {
		if _, err := b.Root.Replace(ctx, key, c, was); err != nil {
			return store.Info{}, err
		}
		b.failed = true
	}
	return store.Info{}, errBadSeal
}

func (b *badSeal) Open(ctx context.Context, key string) (io.ReadCloser, store.Info, error) {
	if b.failed && isSeal(key) {
		return nil, store.Info{}, errBadSeal
	}
	return b.Root.Open(ctx, key)
}

// The power is cut just after a drive got a line of the seal, and takes back what
// the ledger did not sync. Then that drive is away. No other line may take that
// number on another drive.
func TestALineThatAPowerCutMadeUsForgetHoldsTheOthers(t *testing.T) {
	r := newRanch(t, "shelf", "barn")
	shelf, barn := r.copies[0], r.copies[1]
	good := shelf.root
	r.visit("North/Windmill", "2019-06-21")
	r.wantCurrent(r.mirror())
	putBack := r.saveState()

	synced := map[string]string{}
	shelf.root, barn.away = &badSeal{Root: good, reached: true}, true
	r.visit("North/Windmill", "2020-06-21")
	r.mirror(func(in *In) { in.synced = func() { synced = marksIn(t, r.led) } })
	putBack()
	putMarks(t, r.led, synced)

	shelf.root, shelf.away, barn.away = good, true, false
	r.visit("South/Draw", "2020-06-20")
	if rep := r.mirror(); rep.Made != 0 {
		t.Errorf("%d versions were made while a line of the seal was in doubt", rep.Made)
	}
	shelf.away = false
	r.wantCurrent(r.mirror())
	head(t, barn.root, "south--draw")
}

// A version was committed on one drive and its line could not be added. The next
// round adds it there, and the drive fails in the middle: nobody knows whether the
// line has arrived. The other drive takes the same line, so that it does not
// matter, and goes on.
func TestALineThatMayStandElsewhereIsTheSameOnTheNext(t *testing.T) {
	for _, reached := range []bool{false, true} {
		r := newRanch(t, "barn", "shelf")
		barn, shelf := r.copies[0], r.copies[1]
		good := shelf.root
		r.visit("North/Windmill", "2019-06-21")
		r.wantCurrent(r.mirror())

		barn.away, shelf.root = true, &badSeal{Root: good}
		r.visit("North/Windmill", "2020-06-21")
		if rep := r.mirror(); rep.Copies[1].State != reach.Failed {
			t.Fatalf("the shelf drive is %s", rep.Copies[1].State)
		}

		barn.away, shelf.root = false, &badSeal{Root: good, reached: reached}
		r.visit("South/Draw", "2020-06-20")
		rep := r.mirror()
		if rep.Copies[0].State != reach.Current || len(rep.Waiting) > 0 {
			t.Errorf("%+v", rep)
		}
		r.holds(barn)

		shelf.root = good
		r.wantCurrent(r.mirror())
	}
}
