// Package taking takes a sealed version over to a copy that lacks it: its content, from
// whichever place has good bytes. Fill in a [Version], call [Version.ReplaceUnfinished]
// and [Version.Bring], commit what was built, and call [Version.Committed], which notes
// what the copy has now. Where [Version.Unnamed] names a file, the version is never to be
// committed there. A version that was made on the copy is noted in the same way.
package taking

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"

	"linecamp/daemon/ledger"
	"linecamp/daemon/link"
	"linecamp/daemon/mirror/gone"
	"linecamp/daemon/mirror/queue"
	"linecamp/daemon/mirror/short"
	"linecamp/daemon/mirror/sites"
	"linecamp/daemon/mirror/source"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/verify"
)

// Copy is the copy that a version goes to.
type Copy struct {
	ID      string
	Root    store.Root
	Ledger  *ledger.Ledger
	Queue   *queue.Queue // the way to it
	Holds   *gone.Holds
	Short   *short.List
	Workers int         // files under way at once
	Advance func(int64) // bytes that are done
	Now     func() time.Time
	// Block notes why a site cannot go on there in this round.
	Block func(slug, why string)
}

// Version is one version on its way to one copy.
type Version struct {
	Copy
	Object  *sites.Object
	N       int
	Build   store.Build
	Content map[string]manifest.Digest // content path → digest, of this version
	People  map[manifest.Digest]int    // how many of people's files each digest stands for
	Sources func(wanted map[string]manifest.Digest) map[manifest.Digest][]source.Source

	mu      sync.Mutex
	held    []verify.Held
	Files   int          // people's files among them
	Stored  int64        // and their size
	Missing []string     // files that nobody in reach has
	Sought  string       // one that a copy out of reach may have
	short   []short.File // these, and what is too large for the copy
}

// ErrBlocked: the version cannot go on there in this round; Block was told why.
var ErrBlocked = errors.New("cannot go on there")

// Unnamed is a file in a bucket, of another version that was begun there under this one's
// number, which this one does not name; "" for none. Nothing is deleted there, and no
// file may lie under a committed version that its manifest leaves out.
func (t *Version) Unnamed() string {
	if t.Root.Can().Staged {
		return "" // what was begun there is private to it
	}
	for path := range t.Build.Found() {
		if _, named := t.Content[path]; !named {
			return path
		}
	}
	return ""
}

// ReplaceUnfinished puts the version's bytes in the place of others that lie
// under its paths in a bucket. Those are of a version that was begun there and
// never finished, by a state of this computer that was lost since; nobody was
// ever told that they are kept. They are set aside like what a mend replaces.
func (t *Version) ReplaceUnfinished(ctx context.Context, aside string) error {
	replaced := false
	wrong := map[string]manifest.Digest{}
	for path, info := range t.Build.Found() {
		if d, named := t.Content[path]; named && info.SHA256 != d {
			wrong[path] = d
		}
	}
	from := t.Sources(wrong)
	for _, path := range slices.Sorted(maps.Keys(wrong)) {
		d, key := wrong[path], t.Object.Slug+"/"+path
		put := func(ctx context.Context, c store.Content) (store.Info, error) {
			return store.Info{}, t.Root.Mend(ctx, key, c, aside)
		}
		_, err := source.Bring(ctx, put, d, from[d], t.Advance)
		if errors.Is(err, source.ErrNobody) || errors.Is(err, source.ErrNotNow) {
			continue // bring says that it is in the way
		}
		if err != nil {
			return err
		}
		replaced = true
	}
	if !replaced {
		return nil
	}
	b, err := t.Root.Begin(ctx, t.Object.Slug, t.N)
	if err != nil {
		return err
	}
	err = t.Build.Close()
	t.Build = b
	return err
}

// Bring stores all content of the version that is not there yet.
func (t *Version) Bring(ctx context.Context) error {
	lacking := map[string]manifest.Digest{}
	there := t.Build.Found()
	for path, d := range t.Content {
		if info, ok := there[path]; ok {
			if info.SHA256 != d {
				t.Block(t.Object.Slug, path+" there, of a version that was never finished, has other bytes than the manifest says")
				return ErrBlocked
			}
			t.Keep(path, d, info)
			t.Advance(info.Size)
			continue
		}
		lacking[path] = d
	}
	from := t.Sources(lacking)
	g, gctx := errgroup.WithContext(ctx)
	g.SetLimit(t.Workers)
	var held atomic.Bool // by the link: what is under way goes on to its end, and nothing else is begun
	for _, path := range slices.Sorted(maps.Keys(lacking)) {
		d := lacking[path]
		g.Go(func() error {
			if ok, err := t.Queue.May(t.Object.Slug); err != nil {
				return err
			} else if !ok {
				held.Store(true)
				return nil
			}
			info, err := source.Bring(gctx, source.Into(t.Build, path), d, from[d], t.Advance)
			if errors.Is(err, source.ErrNobody) || errors.Is(err, store.ErrTooLarge) {
				name := t.Object.PeoplesPath(t.N, d)
				t.mu.Lock()
				t.short = append(t.short, short.As(t.Object.Slug, path, d, name, errors.Is(err, store.ErrTooLarge)))
				if !errors.Is(err, store.ErrTooLarge) {
					t.Sought = name
				}
				t.mu.Unlock()
				return nil
			}
			if errors.Is(err, link.ErrHeld) {
				t.Queue.Keep(t.Object.Slug, err)
				held.Store(true)
				return nil
			}
			if errors.Is(err, source.ErrNotNow) {
				t.Block(t.Object.Slug, "bytes of "+manifest.Printable(t.Object.PeoplesPath(t.N, d))+" could not be brought: "+err.Error())
				return ErrBlocked
			}
			if err != nil {
				return err
			}
			t.Keep(path, d, info)
			return nil
		})
	}
	if err := g.Wait(); err != nil || !held.Load() {
		return err
	}
	return ErrBlocked
}

// Keep notes what was stored under a content path.
func (t *Version) Keep(path string, d manifest.Digest, info store.Info) {
	h := verify.Held{Path: path, SHA256: d, Files: t.People[d], Size: info.Size, XXH64: info.XXH64, ETag: info.ETag}
	if t.Root.Can().Confirms {
		h.Confirmed = t.Now()
	}
	t.mu.Lock()
	t.held = append(t.held, h)
	t.Files += t.People[d]
	t.Stored += info.Size * int64(t.People[d])
	t.mu.Unlock()
}

// Committed notes in the ledger what the copy has now.
func (t *Version) Committed() error {
	if err := t.Ledger.Remember(t.ID, t.Object.Slug, t.held); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	if err := t.Holds.SetHas(t.Object.Slug, t.N); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	content := make([]string, 0, len(t.held))
	for _, h := range t.held {
		content = append(content, h.Path)
	}
	if err := t.Holds.SentAgain(t.Object.Slug, t.N, content); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	if err := t.Short.Add(t.short...); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	for _, f := range t.short {
		if !f.TooLarge {
			t.Missing = append(t.Missing, f.Path)
		}
	}
	return nil
}
