package mirror

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linecamp/daemon/mirror/report"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3test"
)

// silentAuthor is a bucket that does not say who records there from the nth time
// on that it is asked.
type silentAuthor struct {
	store.Root
	from, asked int
}

func (s *silentAuthor) Open(ctx context.Context, key string) (io.ReadCloser, store.Info, error) {
	if err := s.silent(key); err != nil {
		return nil, store.Info{}, err
	}
	return s.Root.Open(ctx, key)
}

func (s *silentAuthor) Stat(ctx context.Context, key string) (store.Info, error) {
	if err := s.silent(key); err != nil {
		return store.Info{}, err
	}
	return s.Root.Stat(ctx, key)
}

func (s *silentAuthor) silent(key string) error {
	if key == store.AuthorKey {
		if s.asked++; s.asked >= s.from {
			return fmt.Errorf("503: %w", store.ErrUnreachable)
		}
	}
	return nil
}

// A bucket has no lock: whether another machine took over since is asked before
// each version. The first is made because the round could be named there, on condition
// that nobody took over. Where it cannot be asked then, no other is made.
func TestABucketThatStopsSayingWhoRecordsGetsNoFurtherVersion(t *testing.T) {
	r := newRanch(t)
	bucket := r.addBucket(s3test.Fake(t), "bucket")
	r.visit("North/Windmill", "2019-06-21")
	r.wantCurrent(r.mirror())
	whole := bucket.root

	r.visit("North/Windmill", "2020-06-21")
	r.visit("South/Draw", "2020-06-21")
	bucket.root = &silentAuthor{Root: whole, from: 2} // once when the round begins
	rep := r.mirror()
	if slugs, err := store.Objects(t.Context(), whole); err != nil || len(slugs)+head(t, whole, "north--windmill").Head() != 3 || rep.Made != 1 {
		t.Errorf("a version was made without asking: %q, %v, %+v", slugs, err, rep)
	}
	bucket.root = whole
	r.wantCurrent(r.mirror())
}

// quicker is a bucket where something is done before it is next said who records there.
type quicker struct {
	store.Root
	do func()
}

func (q *quicker) Replace(ctx context.Context, key string, c store.Content, was *store.Info) (store.Info, error) {
	if do := q.do; key == store.AuthorKey && do != nil {
		q.do = nil
		do()
	}
	return q.Root.Replace(ctx, key, c, was)
}

// Another machine takes over once this round was told that nobody did, and before the round
// is named in the bucket: that write fails, and nothing is put there.
func TestATakeOverBeforeTheRoundIsNamed(t *testing.T) {
	servers(t, func(t *testing.T, srv *s3test.Server) {
		r := newRanch(t)
		bucket := r.addBucket(srv, "bucket")
		r.visit("North/Windmill", "2019-06-21")
		r.wantCurrent(r.mirror())
		whole := bucket.root

		r.visit("North/Windmill", "2020-06-21")
		var laptop *ranch
		bucket.root = &quicker{Root: whole, do: func() { laptop = r.takesOver(laptopID) }}
		rep := r.mirror()
		if laptop == nil {
			t.Fatal("the round was never named")
		}
		if rep.Made != 0 || len(rep.Waiting) != 1 || !strings.Contains(rep.Waiting[0].Reason, "laptop") {
			t.Errorf("%+v", rep)
		}
		for info, err := range whole.List(t.Context(), "north--windmill/v2") {
			t.Errorf("%s was put there, %v", info.Key, err)
		}
		bucket.root = whole
		if rep := laptop.mirror(); rep.Made != 1 {
			t.Errorf("the one that took over: %+v", rep)
		}
	})
}

// The newest version may have no line in the seal yet. The clock is held against
// it all the same.
func TestTheClockIsHeldAgainstVersionsWithoutALine(t *testing.T) {
	r := newRanch(t, "shelf")
	shelf := r.copies[0]
	good := shelf.root
	r.visit("North/Windmill", "2019-06-21")
	r.wantCurrent(r.mirror())

	shelf.root = &badSeal{Root: good}
	r.visit("North/Windmill", "2020-06-21")
	r.mirror()
	newest := head(t, good, "north--windmill").Versions
	if len(newest) != 2 {
		t.Fatalf("%d versions", len(newest))
	}

	shelf.root = good
	r.visit("South/Draw", "2019-06-21")
	r.now = r.now.Add(-90 * time.Minute) // half an hour before that version, an hour later than the line before
	rep := r.mirror()
	if rep.Made != 0 || reasons(rep)[report.ReasonClock] == nil {
		t.Errorf("with the clock before the newest version: %+v", rep)
	}
	r.now = r.now.Add(2 * time.Hour)
	r.wantCurrent(r.mirror())
	head(t, good, "south--draw")
}

// A folder that became a link was not listed: what was below it is not gone.
func TestAFolderThatBecameALink(t *testing.T) {
	r := newRanch(t, "shelf")
	r.visit("North/Windmill", "2019-06-21")
	r.visit("North/Windmill", "2020-06-21")
	r.visit("South/Draw", "2019-06-21")
	r.wantCurrent(r.mirror())

	folder := filepath.Join(r.folder, "North", "Windmill", "2019-06-21")
	elsewhere := filepath.Join(t.TempDir(), "a larger disk")
	must(t, os.Rename(folder, elsewhere))
	must(t, os.Symlink(elsewhere, folder))
	r.wantCurrent(r.mirror())
	inv := head(t, r.copies[0].root, "north--windmill")
	if got := paths(inv.State(inv.Head())); len(got) != 6 {
		t.Errorf("after a folder became a link, the newest state has %v", got)
	}
}
