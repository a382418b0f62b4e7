package mirror

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"linecamp/daemon/attention"
	"linecamp/daemon/authority"
	"linecamp/daemon/authority/marks"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/mirror/source"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

// syncLedger has what the ledger noted outlive a power cut.
func (r *round) syncLedger() error {
	err := r.Ledger.Sync()
	if err == nil && r.synced != nil {
		r.synced()
	}
	return err
}

// dropMarks forgets the marks of slug up to version n.
func (r *round) dropMarks(slug string, n int) error {
	return r.begun.Drop(func(m marks.Mark) bool { return m.Slug == slug && m.N <= n })
}

// sealCommitted adds the line of every version that was committed by a round
// that ended before it wrote it.
func (r *round) sealCommitted(ctx context.Context) error {
	all, err := r.begun.All()
	if err != nil {
		return err
	}
	for _, m := range all {
		i := slices.IndexFunc(r.copies, func(c *copyRun) bool { return c.ID == m.Copy })
		if i < 0 || !r.copies[i].usable() {
			continue
		}
		c := r.copies[i]
		if err := r.sealMarked(ctx, c, m.Slug); err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			if errors.Is(err, authority.ErrHoldOff) {
				return err
			}
			c.fail(err)
			if err := r.unsealed(); err != nil {
				return err // its line may stand there, and no other may take that number
			}
		}
	}
	return nil
}

// sealMarked finishes what a mark tells of: what is committed gets its root pair
// and its lines, what is not stays marked.
func (r *round) sealMarked(ctx context.Context, c *copyRun, slug string) error {
	inv, _, err := c.headOf(ctx, slug) // not what the root pair shows, whose version may have gone
	if errors.Is(err, store.ErrNoObject) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("reading %s: %w", slug, err)
	}
	if _, err := store.Settle(ctx, c.Root, slug); err != nil {
		return fmt.Errorf("finishing %s: %w", slug, err)
	}
	return r.sealUpTo(ctx, c, slug, inv) // last, since it drops the mark
}

// sealUpTo adds a line for each version of inv the seal does not name, provided
// that it continues what the seal does name.
func (r *round) sealUpTo(ctx context.Context, c *copyRun, slug string, inv *manifest.Inventory) error {
	c.turn.Lock()
	defer c.turn.Unlock()
	log, _, _ := r.look()
	id := manifest.ObjectID(r.Archive, slug)
	from := log.Head(slug)
	if log.Closed(slug) { // nothing more is recorded there
		return r.dropMarks(slug, math.MaxInt)
	}
	if from > inv.Head() {
		return nil
	}
	if from > 0 {
		if want, _ := r.sealed(slug, from); manifest.Sum(inv.Until(from).Encode()) != want {
			return nil // another history
		}
	}
	for n := from + 1; n <= inv.Head(); n++ {
		at := inv.Versions[n-1].Created
		if len(r.others.Logs) > 0 && at.After(r.created) { // another's clock must not stop all sites
			at = r.created
		}
		log, _, _ := r.look()
		if last := log.Last(); at.Before(last.At) {
			at = last.At
		}
		line := seal.Line{At: at, What: seal.Version, Object: id, Version: n, Inventory: manifest.Sum(inv.Until(n).Encode())}
		if err := r.who.Begin(ctx); err != nil {
			return err
		}
		if err := r.addLine(ctx, c, line); err != nil {
			return err
		}
	}
	if err := c.holds.SetHas(slug, inv.Head()); err != nil {
		return err
	}
	return r.dropMarks(slug, inv.Head())
}

// madeElsewhere looks for version n of slug on the other copies, also on those
// that failed in this round: a seal that rotted hides no version. One that is
// there has no line in the seal, and an old state that was put back knows
// nothing of it. It is marked, so that the next round adds the line. What a copy
// has of another history is none of this one's versions.
func (r *round) madeElsewhere(ctx context.Context, slug string, n int, holder *copyRun) (bool, error) {
	for _, c := range r.copies {
		if c == holder || c.Root == nil || c.elsewhere(slug) {
			continue
		}
		_, err := c.Root.Stat(ctx, fmt.Sprintf("%s/v%d/inventory.json.sha256", slug, n))
		if ctx.Err() != nil {
			return false, ctx.Err()
		}
		if err == nil {
			r.wait(attention.FileWaits, slug, report.ReasonUnsealed, false)
			return true, r.begun.Add(marks.Mark{Copy: c.ID, Slug: slug, N: n})
		}
	}
	return false, nil
}

// hasAnswered reports whether a bucket that failed in this round told of each
// write to a version what became of it.
func (c *copyRun) hasAnswered(m marks.Mark) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.answered[m]
}

// pending tells what stands between slug and its version n: content lying in
// buckets under that version, which the version must name, and whether a copy
// out of reach may hold more.
func (r *round) pending(ctx context.Context, slug string, n int, holder *copyRun) (found map[string]manifest.Digest, where map[manifest.Digest][]source.Source, hold string, err error) {
	all, err := r.begun.All()
	if err != nil {
		return nil, nil, "", err
	}
	found = map[string]manifest.Digest{}
	where = map[manifest.Digest][]source.Source{}
	for _, m := range all {
		if m.Slug != slug || m.N != n || m.Copy == holder.ID {
			continue
		}
		i := slices.IndexFunc(r.copies, func(c *copyRun) bool { return c.ID == m.Copy })
		if i < 0 || r.copies[i].elsewhere(slug) {
			continue
		}
		c := r.copies[i]
		if !c.usable() && !c.hasAnswered(m) {
			hold = fmt.Sprintf("%s may hold its next version, or the beginning of it; %s", c.Name, c.wayOn())
			r.heldUp(report.HeldUp{Object: slug, Version: n, Copy: c.Name, Reason: hold})
			return nil, nil, hold, nil
		}
		if c.Can().Staged {
			continue // what a drive had begun is private to it
		}
		b, err := c.Root.Begin(ctx, slug, n)
		if err != nil {
			return nil, nil, "", fmt.Errorf("looking at version %d of %s on %s: %w", n, slug, c.Name, err)
		}
		for path, info := range b.Found() {
			found[path] = info.SHA256
			where[info.SHA256] = append(where[info.SHA256], source.Held(c.forOthers(), slug+"/"+path, info.Size))
		}
		if err := b.Close(); err != nil {
			return nil, nil, "", err
		}
	}
	return found, where, "", nil
}
