package mirror

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3test"
)

// shy is a bucket that does not begin a version.
type shy struct{ store.Root }

func (shy) Begin(context.Context, string, int) (store.Build, error) {
	return nil, fmt.Errorf("503: %w", store.ErrUnreachable)
}

// lostAnswers is a bucket that stores files and never says so.
type lostAnswers struct{ store.Root }

func (l lostAnswers) Begin(ctx context.Context, object string, version int) (store.Build, error) {
	b, err := l.Root.Begin(ctx, object, version)
	return lostBuild{b}, err
}

type lostBuild struct{ store.Build }

func (b lostBuild) Put(ctx context.Context, path string, c store.Content) (store.Info, error) {
	if _, err := b.Build.Put(ctx, path, c); err != nil {
		return store.Info{}, err
	}
	return store.Info{}, fmt.Errorf("no answer: %w", store.ErrUnreachable)
}

// oneByOne has files stored one after another: what came before a failure is then
// there, and not broken off with it.
func oneByOne(in *In) { in.OneByOne = true }

// What lies in a bucket under a version that was not finished stays noted until a
// version names it, whatever goes wrong in the rounds between.
func TestWhatLiesInABucketStaysNoted(t *testing.T) {
	for _, c := range []struct {
		name   string
		cut    bool // the power, at the end: the ledger loses what was not synced
		rounds []func(store.Root) store.Root
	}{
		{"a power cut", true, []func(store.Root) store.Root{
			func(whole store.Root) store.Root { return &failing{Root: whole, after: 2} },
		}},
		{"a round that could not look", false, []func(store.Root) store.Root{
			func(whole store.Root) store.Root { return &failing{Root: whole, after: 2} },
			func(whole store.Root) store.Root { return shy{whole} },
		}},
		{"files that arrived without an answer", false, []func(store.Root) store.Root{
			func(whole store.Root) store.Root { return lostAnswers{whole} },
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRanch(t, "shelf")
			shelf := r.copies[0]
			bucket := r.addBucket(s3test.Fake(t), "bucket")
			whole := bucket.root
			r.visit("North/Windmill", "2019-06-21")
			r.wantCurrent(r.mirror())

			putBack, synced := r.saveState(), map[string]string{}
			shelf.away = true
			r.visit("North/Windmill", "2020-06-21")
			for _, spoil := range c.rounds {
				bucket.root = spoil(whole)
				r.mirror(oneByOne, func(in *In) { in.synced = func() { synced = marksIn(t, r.led) } })
			}
			if c.cut {
				putBack()
				putMarks(t, r.led, synced)
			}
			bucket.root, shelf.away = whole, false
			left := 0
			for _, err := range whole.List(context.Background(), "north--windmill/v2/content") {
				must(t, err)
				left++
			}
			if left == 0 {
				t.Fatal("nothing was left in the bucket, so nothing is tested")
			}
			r.remove("North/Windmill/2020-06-21") // nothing else would name it
			r.visit("North/Windmill", "2021-06-21")
			r.mirror()
			r.wantCurrent(r.mirror())
			inv := head(t, whole, "north--windmill")
			for info, err := range whole.List(context.Background(), "north--windmill/v2/content") {
				must(t, err)
				if path := strings.TrimPrefix(info.Key, "north--windmill/"); inv.Paths(2)[path].IsZero() {
					t.Errorf("version 2 does not name %s", path)
				}
			}
		})
	}
}

// deafTo is a bucket from which what lies under one version cannot be read.
type deafTo struct {
	store.Root
	below string
}

func (d deafTo) Open(ctx context.Context, key string) (io.ReadCloser, store.Info, error) {
	if strings.HasPrefix(key, d.below) {
		return nil, store.Info{}, fmt.Errorf("503: %w", store.ErrUnreachable)
	}
	return d.Root.Open(ctx, key)
}

// One site's next version needs bytes that lie in a bucket and cannot be read
// there now. The other sites go on.
func TestOneSiteWithoutItsBytesHoldsNoOther(t *testing.T) {
	r := newRanch(t, "shelf")
	shelf := r.copies[0]
	bucket := r.addBucket(s3test.Fake(t), "bucket")
	whole := bucket.root
	r.visit("North/Windmill", "2019-06-21")
	r.wantCurrent(r.mirror())
	shelf.away, bucket.root = true, &failing{Root: whole, after: 2}
	r.visit("North/Windmill", "2022-06-21")
	r.mirror(oneByOne)

	shelf.away, bucket.root = false, deafTo{whole, "north--windmill/v2/content"}
	r.remove("North/Windmill/2022-06-21")
	r.visit("North/Windmill", "2021-06-21")
	r.visit("South/Draw", "2020-06-21") // an older visit, so it comes later
	r.mirror()
	if inv, err := store.Head(context.Background(), shelf.root, "south--draw"); err != nil {
		t.Errorf("the other site was not recorded: %v", err)
	} else if got := paths(inv.State(1)); len(got) != 3 {
		t.Errorf("the other site has %v", got)
	}
	bucket.root = whole
	r.mirror()
	r.wantCurrent(r.mirror())
}

// small is a drive that takes no file of that content: it is too large for it.
type small struct {
	store.Root
	big manifest.Digest
}

func (s small) Begin(ctx context.Context, object string, version int) (store.Build, error) {
	b, err := s.Root.Begin(ctx, object, version)
	return smallBuild{b, s.big}, err
}

type smallBuild struct {
	store.Build
	big manifest.Digest
}

func (b smallBuild) Put(ctx context.Context, path string, c store.Content) (store.Info, error) {
	if c.SHA256 == b.big {
		return store.Info{}, store.ErrTooLarge
	}
	return b.Build.Put(ctx, path, c)
}

// A file too large for a drive does not hold up that drive, whichever other copy
// is away: no other copy could help.
func TestAFileTooLargeForADriveDoesNotHoldItUp(t *testing.T) {
	r := newRanch(t, "shelf", "stick", "barn")
	stick, barn := r.copies[1], r.copies[2]
	r.visit("South/Draw", "2019-06-21")
	r.wantCurrent(r.mirror())
	barn.away = true
	stick.root = small{stick.root, manifest.Sum([]byte("a film"))}
	r.write("North/Windmill/2020-06-21/film.mp4", "a film")
	r.visit("North/Windmill", "2020-06-21")
	rep := r.mirror()
	if c := rep.Copies[1]; c.State != reach.Behind || len(c.TooLarge) != 1 || !strings.HasPrefix(c.Error, "short of 1 file, too large for ") {
		t.Errorf("the drive is %s (%s) and cannot hold %v", c.State, c.Error, c.TooLarge)
	}
	if inv, err := store.Head(context.Background(), stick.root, "north--windmill"); errors.Is(err, store.ErrNoObject) {
		t.Error("the site is not on the drive")
	} else if must(t, err); len(inv.State(1)) != 5 {
		t.Errorf("the state there is %v", inv.State(1))
	}
}
