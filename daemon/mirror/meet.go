package mirror

import (
	"context"
	"errors"
	"fmt"
	"io/fs"

	"linecamp/daemon/authority"
	"linecamp/daemon/authority/marks"
	"linecamp/daemon/mirror/adopt"
	"linecamp/daemon/mirror/unseen"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

// meet opens the round: it reads every copy's seal, settles which is the
// longest, and learns which versions each copy has.
func (r *round) meet(ctx context.Context) error {
	local, err := r.Cache.Seal()
	if errors.Is(err, fs.ErrNotExist) {
		local, err = seal.Decode(nil)
	}
	if err != nil {
		return fmt.Errorf("reading the seal in the state folder: %w", err)
	}
	if err := unseen.Earlier(r.Ledger, local); err != nil {
		return err
	}
	// First, so that what another recorded after this look is noticed before
	// anything is recorded here.
	if err := r.who.Ask(ctx); err != nil {
		return err
	}
	seals, err := r.who.Seals(ctx, local)
	if err != nil {
		return err
	}
	best := seals.Right
	r.newer = seals.Newer
	for i, c := range r.copies {
		c.sealLen = seals.Lines[i]
		if err := c.loose.Load(); err != nil {
			return err
		}
	}
	if r.log, err = authority.NewLog(r.Archive, best); err != nil {
		return err // before it is kept: what no round can work with is not to stop every later one
	}
	if !best.Extends(local) {
		if err := adopt.History(r.Ledger, r.Cache, r.Archive, r.who.Copies, local, best); err != nil {
			return err
		}
	} else if best.Len() > local.Len() {
		// Another state of this archive got further than ours: whatever we
		// knew about the other copies may be old as well.
		for _, c := range r.copies {
			if err := authority.Unread(r.Ledger, c.ID); err != nil {
				return err
			}
		}
		if err := r.Cache.PutSeal(best); err != nil {
			return fmt.Errorf("caching the seal: %w", err)
		}
	}
	late, err := r.Cache.LateSeals()
	if err != nil {
		return fmt.Errorf("reading the seals that did not go on: %w", err)
	}
	if err := r.meetParted(ctx, seals); err != nil {
		return err
	}
	for i, c := range r.copies {
		if !c.usable() {
			continue
		}
		for _, log := range late {
			if r.others.Put(ctx, c.forOthers(), log.Text(0, log.Len())) != nil { // it gets it in a later round
				break
			}
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err := c.holds.Learn(ctx, seals.Short[i], c.scan); err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			c.fail(err)
			continue
		}
		if err := authority.MarkRead(r.Ledger, c.ID); err != nil {
			return err
		}
		if err := c.loosenClosed(); err != nil {
			return err
		}
		if len(c.loose.Slugs()) > 0 && !c.scanned {
			if err := r.others.Read(ctx, c.forOthers(), r.log.Seal); err != nil {
				return err
			}
		}
	}
	return r.objects.ForgetRecords(r.Ledger)
}

// scan reads the head of every object on the copy. Versions beyond the seal
// were committed by a round that ended before it could add their lines; they
// are noted, and the author adds the lines.
func (c *copyRun) scan(ctx context.Context) error {
	c.holds.Clear()
	if err := c.r.others.Read(ctx, c.forOthers(), c.r.log.Seal); err != nil {
		return err
	}
	slugs, err := store.Objects(ctx, c.Root)
	if err != nil {
		return fmt.Errorf("listing its sites: %w", err)
	}
	for _, slug := range slugs {
		n, closed := 0, c.r.objects.Log().Closed(slug)
		inv, settled, err := c.headOf(ctx, slug)
		switch {
		case errors.Is(err, store.ErrNoObject):
		case err != nil:
			return fmt.Errorf("reading %s: %w", slug, err)
		case inv.ID != manifest.ObjectID(c.r.Archive, slug):
			return fmt.Errorf("%s there says it is %q", slug, inv.ID)
		default:
			n = inv.Head()
			if err := c.holds.SetHas(slug, n); err != nil {
				return err
			}
			from, free := c.r.isLoose(slug, inv)
			note := c.loose.Drop(slug) // it may have been so in a history that this computer left
			if from > 0 && !free {
				note = c.loose.Add(slug, from)
			}
			if note != nil {
				return note
			}
			if free {
				if err := c.r.begun.Add(marks.Mark{Copy: c.ID, Slug: slug, N: n}); err != nil {
					return err
				}
				continue
			}
			if !settled && from == 0 && c.usable() { // the round that committed it ended there
				if _, err := store.Settle(ctx, c.Root, slug); err != nil {
					return fmt.Errorf("finishing %s: %w", slug, err)
				}
			}
		}
		if c.Can().Staged || closed {
			continue
		}
		// Content of a version that was never finished may lie in a bucket; the
		// version that takes its number must name it.
		for _, err := range c.Root.List(ctx, fmt.Sprintf("%s/v%d/content", slug, n+1)) {
			if err != nil {
				return fmt.Errorf("listing %s: %w", slug, err)
			}
			if err := c.r.begun.Add(marks.Mark{Copy: c.ID, Slug: slug, N: n + 1}); err != nil {
				return err
			}
			break
		}
	}
	c.scanned = true
	if c.r.others.Unnamed(c.r.objects.Log()) {
		return nil // keepLogs says so, once what is beside its seal is kept and named elsewhere
	}
	return authority.MarkScanned(c.r.Ledger, c.ID)
}

// headOf is store.HeadSettled, once what another copy outran is out of the way,
// and less the versions that went while the root pair still shows them.
func (c *copyRun) headOf(ctx context.Context, slug string) (*manifest.Inventory, bool, error) {
	inv, settled, err := store.HeadSettled(ctx, c.Root, slug)
	if err != nil {
		return nil, false, err
	}
	if want, ok := c.r.sealed(slug, inv.Head()); ok && manifest.Sum(inv.Encode()) != want {
		if cleared, err := c.outrun(ctx, slug, inv.Head()); err != nil {
			return nil, false, err
		} else if cleared {
			return store.HeadSettled(ctx, c.Root, slug)
		}
	}
	n, err := c.holds.Newest(ctx, slug, inv.Head())
	switch {
	case err != nil || n == inv.Head():
		return inv, settled, err
	case n == 0:
		return nil, false, errors.Join(store.ErrNoObject, c.holds.GoBack(ctx, slug))
	}
	return inv.Until(n), true, c.holds.GoBack(ctx, slug)
}
