package mirror

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"linecamp/daemon/link"
	"linecamp/daemon/mirror/short"
	"linecamp/daemon/mirror/sites"
	"linecamp/daemon/mirror/source"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/verify"
)

// taking is one version on its way to one copy.
type taking struct {
	c       *copyRun
	o       *sites.Object
	version int
	build   store.Build
	content map[string]manifest.Digest // content path → digest, of this version
	people  map[manifest.Digest]int    // how many of people's files each digest stands for

	mu     sync.Mutex
	held   []verify.Held
	files  int          // people's files among them
	stored int64        // and their size
	short  []short.File // content nobody in reach has, or too large for the copy
	sought string       // one that a copy out of reach may have
}

// replaceUnfinished puts the version's bytes in the place of others that lie
// under its paths in a bucket. Those are of a version that was begun there and
// never finished, by a state of this machine that was lost since; nobody was
// ever told that they are kept. They are set aside like what a mend replaces.
func (t *taking) replaceUnfinished(ctx context.Context) (replaced bool, err error) {
	wrong := map[string]manifest.Digest{}
	for path, info := range t.build.Found() {
		if d, named := t.content[path]; named && info.SHA256 != d {
			wrong[path] = d
		}
	}
	from := t.c.r.sourcesFor(t.o, t.version, wrong, t.c)
	for _, path := range slices.Sorted(maps.Keys(wrong)) {
		d, key := wrong[path], t.o.Slug+"/"+path
		put := func(ctx context.Context, c store.Content) (store.Info, error) {
			return store.Info{}, t.c.Root.Mend(ctx, key, c, t.c.r.Aside)
		}
		_, err := t.c.bring(ctx, put, d, from[d])
		if errors.Is(err, source.ErrNobody) || errors.Is(err, source.ErrNotNow) {
			continue // bring says that it is in the way
		}
		if err != nil {
			return replaced, err
		}
		replaced = true
	}
	return replaced, nil
}

// bring stores all content of the version that is not there yet.
func (t *taking) bring(ctx context.Context) error {
	lacking := map[string]manifest.Digest{}
	there := t.build.Found()
	for path, d := range t.content {
		if info, ok := there[path]; ok {
			if info.SHA256 != d {
				t.c.block(t.o.Slug, path+" there, of a version that was never finished, has other bytes than the manifest says")
				return errBlocked
			}
			t.keep(path, d, info)
			t.c.advance(info.Size)
			continue
		}
		lacking[path] = d
	}
	from := t.c.r.sourcesFor(t.o, t.version, lacking, t.c)
	g, gctx := errgroup.WithContext(ctx)
	g.SetLimit(t.c.workers)
	var held atomic.Bool // by the link: what is under way goes on to its end, and nothing else is begun
	for _, path := range slices.Sorted(maps.Keys(lacking)) {
		d := lacking[path]
		g.Go(func() error {
			if ok, err := t.c.queue.May(t.o.Slug); err != nil {
				return err
			} else if !ok {
				held.Store(true)
				return nil
			}
			info, err := t.c.bring(gctx, source.Into(t.build, path), d, from[d])
			if errors.Is(err, source.ErrNobody) || errors.Is(err, store.ErrTooLarge) {
				name := t.o.PeoplesPath(t.version, d)
				t.mu.Lock()
				t.short = append(t.short, short.As(t.o.Slug, path, d, name, errors.Is(err, store.ErrTooLarge)))
				if !errors.Is(err, store.ErrTooLarge) {
					t.sought = name
				}
				t.mu.Unlock()
				return nil
			}
			if errors.Is(err, link.ErrHeld) {
				t.c.queue.Keep(t.o.Slug, err)
				held.Store(true)
				return nil
			}
			if errors.Is(err, source.ErrNotNow) {
				t.c.block(t.o.Slug, "bytes of "+manifest.Printable(t.o.PeoplesPath(t.version, d))+" could not be brought: "+err.Error())
				return errBlocked
			}
			if err != nil {
				return err
			}
			t.keep(path, d, info)
			return nil
		})
	}
	if err := g.Wait(); err != nil || !held.Load() {
		return err
	}
	return errBlocked
}

func (t *taking) keep(path string, d manifest.Digest, info store.Info) {
	h := verify.Held{Path: path, SHA256: d, Files: t.people[d], Size: info.Size, XXH64: info.XXH64, ETag: info.ETag}
	if t.c.Can().Confirms {
		h.Confirmed = t.c.r.Now()
	}
	t.mu.Lock()
	t.held = append(t.held, h)
	t.files += t.people[d]
	t.stored += info.Size * int64(t.people[d])
	t.mu.Unlock()
}

// committed notes in the ledger and the report what the copy has now.
func (t *taking) committed() error {
	c := t.c
	if err := c.r.Ledger.Remember(c.ID, t.o.Slug, t.held); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	if err := c.holds.SetHas(t.o.Slug, t.version); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	content := make([]string, 0, len(t.held))
	for _, h := range t.held {
		content = append(content, h.Path)
	}
	if err := c.holds.SentAgain(t.o.Slug, t.version, content); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	if err := c.short.Add(t.short...); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.out.Versions++
	c.out.Files += t.files
	c.out.Bytes += t.stored
	for _, s := range t.short {
		if !s.TooLarge {
			c.out.Missing = append(c.out.Missing, s.Path)
		}
	}
	return nil
}
