package mirror

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"linecamp/daemon/authority/marks"
	"linecamp/daemon/mirror/committed"
	"linecamp/daemon/mirror/sites"
	"linecamp/manifest"
	"linecamp/manifest/store"
)

// firstHolder is the copy where new versions are made: the first reachable
// drive, else the first reachable bucket; nil when none can be reached.
func (r *round) firstHolder() *copyRun { return r.nextHolder(nil) }

// nextHolder is firstHolder without those that failed.
func (r *round) nextHolder(failed map[*copyRun]error) *copyRun {
	for _, local := range []bool{true, false} {
		for _, c := range r.copies {
			if _, tried := failed[c]; c.usable() && c.Can().HoldsFirst && c.Can().Local == local && !tried {
				return c
			}
		}
	}
	return nil
}

// release settles what a copy that failed as the first holder has of the
// versions begun there, so that the next copy can go on in the same round.
// What is committed there gets its line in the seal, which the next copy takes.
// Of what is not there nothing can come up later: a drive is locked, and no
// write to it is under way; a bucket answered each write. Where it did not
// answer, that cannot be known, and the site waits.
func (r *round) release(ctx context.Context, first *copyRun) error {
	if first.Root == nil || first.parted || errors.Is(first.broken(), store.ErrConflict) || r.firstHolder() == nil {
		return nil
	}
	all, err := r.begun.All()
	if err != nil {
		return err
	}
	for _, m := range all {
		if m.Copy != first.ID || !first.Can().Local && !first.hasAnswered(m) {
			continue
		}
		inv, err := committed.Look(ctx, first.Root, first.ID, m.Slug, m.N)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil: // begin says that the site waits, and for which copy
		case inv == nil && !first.Can().Staged: // its content, if any, goes into the version
		case inv == nil:
			if err := r.passOver(m); err != nil {
				return err
			}
		default:
			if err := r.sealFrom(ctx, first, m.Slug, inv); ctx.Err() != nil {
				return ctx.Err()
			} else if err != nil {
				return r.unsealed() // its line may stand somewhere, and no other may take that number
			}
		}
	}
	return nil
}

// sealFrom adds the lines of what a failing drive has committed, and keeps what
// the others need to take it over.
func (r *round) sealFrom(ctx context.Context, from *copyRun, slug string, inv *manifest.Inventory) error {
	o, err := sites.ReadRecord(ctx, from.Root, slug, inv)
	if err != nil {
		return ctx.Err() // it waits
	}
	log, _, _ := r.look()
	if n := log.Head(slug); inv.Head() <= n || n > 0 && manifest.Sum(inv.Until(n).Encode()) != log.Index[slug][n-1] {
		return nil
	}
	if err := r.objects.Save(o); err != nil {
		return err
	}
	if err := r.sealUpTo(ctx, from, slug, inv); err != nil {
		return err
	}
	return from.holds.Unfinished(slug) // what is derived of it may be lacking
}

// passOver drops the mark of a version that is not on the drive where it was
// begun. Should it come up there all the same, it is not the archive's: see
// outrun.
func (r *round) passOver(m marks.Mark) error {
	if err := r.passedOver.Add(m); err != nil {
		return err
	}
	return r.begun.Drop(func(o marks.Mark) bool { return o == m })
}

// outrun sets aside a version that a drive turned out to have although it was not there when
// the next copy made that version: nobody was told that it is kept there, and the drive's
// quarantine keeps every byte. It reports whether the sealed version can be taken over now.
func (c *copyRun) outrun(ctx context.Context, slug string, n int) (bool, error) {
	all, err := c.r.passedOver.All()
	m := marks.Mark{Copy: c.ID, Slug: slug, N: n}
	d, ok := c.Root.(store.Yielding)
	if err != nil || !ok || !slices.Contains(all, m) {
		return false, err
	}
	if top, err := store.Head(ctx, c.Root, slug); err != nil || top.Head() != n {
		return false, err // more was made on it, of another history
	} else if d := manifest.Sum(top.Encode()); top.Versions[n-1].User.Address != c.r.user().Address || c.r.others.Names(d) || c.r.objects.Log().Dropped(slug, d) {
		return false, nil // another computer made it, or another history has it
	}
	if err := d.GiveWay(ctx, slug, n); err != nil {
		return false, fmt.Errorf("setting aside version %d of %s, which was begun there and made elsewhere: %w", n, slug, err)
	}
	return true, c.r.passedOver.Drop(func(o marks.Mark) bool { return o == m })
}
