package mirror

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/gone"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

// meetParted has each copy with another history take on the archive's seal, in place of
// its own, which is kept beside it there. What it has of that history is loose then. Only
// the computer that records does so; for any other such a copy is failed.
//
// A crash leaves the copy's own seal, or the beginning of the archive's: then what was
// kept beside it tells of the other history, and the ledger that the copy is to be read anew.
func (r *round) meetParted(ctx context.Context, seals authority.Seals) error {
	parted := func(log *seal.Seal) bool { return log != nil }
	may := slices.ContainsFunc(seals.Other, parted) && r.Tally != nil && !r.newer && !slices.ContainsFunc(r.copies, func(c *copyRun) bool { return errors.Is(c.Err, store.ErrBusy) })
	if may {
		err := r.who.Claim(ctx)
		if err != nil && !errors.Is(err, authority.ErrHoldOff) {
			return err
		}
		may = err == nil
	}
	for i, c := range r.copies {
		c.parted = parted(seals.Other[i])
		switch {
		case !c.parted:
			continue
		case !may:
			c.fail(r.who.LeftAlone(i, seal.Parted, r.log.Seal))
			continue
		}
		r.others.Add(seals.Other[i], c.Name)
		if err := c.meet(ctx, seals.Other[i]); ctx.Err() != nil {
			return ctx.Err()
		} else if err != nil {
			c.fail(fmt.Errorf("putting the archive's seal there in place of another history's: %w", err))
			if err := c.scan(ctx); ctx.Err() != nil { // it can still be read
				return errors.Join(err, ctx.Err())
			}
		}
	}
	return nil
}

// meet has the copy's seal be the archive's.
func (c *copyRun) meet(ctx context.Context, theirs *seal.Seal) error {
	if err := c.broken(); err != nil {
		return err
	}
	if err := authority.Replacing(c.r.Ledger, c.ID); err != nil {
		return err
	}
	if err := c.r.syncLedger(); err != nil { // a crash from here on has it read anew
		return err
	}
	if log, err := authority.NewLog(c.r.Archive, theirs); err == nil { // what gives way is not gone
		if err := gone.Forget(c.r.Ledger, c.ID, log.Agrees(c.r.log)); err != nil {
			return err
		}
	}
	if err := c.bringLogs(ctx, c.r.log); err != nil { // those that lines of it name
		return err
	}
	if err := authority.ReplaceSeal(ctx, c.r.Ledger, c.forOthers(), c.r.log.Seal); err != nil {
		return err
	}
	c.parted, c.sealLen = false, c.r.log.Seal.Len()
	return nil
}

// keepLogs has each log of another history that was met kept on all copies in reach,
// and named in the archive's.
func (r *round) keepLogs(ctx context.Context) error {
	for _, log := range r.others.Logs {
		for _, c := range r.copies {
			if !c.usable() {
				continue
			}
			if err := r.others.Put(ctx, c.forOthers(), log.Text); ctx.Err() != nil {
				return ctx.Err()
			} else if err != nil {
				c.fail(err)
			}
		}
		if log.Named(r.objects.Log()) {
			continue
		}
		line := seal.Line{At: r.created, What: seal.Late, Lines: log.Lines(), Log: log.Digest, Why: "met on " + log.Met}
		if added, err := r.writeFirst(ctx, line); err != nil || !added {
			return err
		}
	}
	for _, c := range r.copies {
		if c.scanned && c.usable() {
			if err := authority.MarkScanned(r.Ledger, c.ID); err != nil {
				return err
			}
		}
	}
	return nil
}

// writeFirst adds a line on the first holder that takes this round's name, and tells
// whether there was one. Where the line was tried and came about on no copy, that is an
// error, which ends the recording: it may stand somewhere all the same, and no other line
// gets its number.
func (r *round) writeFirst(ctx context.Context, line seal.Line) (bool, error) {
	if err := r.who.Begin(ctx); err != nil {
		return false, err
	}
	holder := r.firstHolder()
	if holder == nil {
		return false, nil
	}
	err := holder.write(ctx, line)
	return err == nil, err
}

// bringLogs puts the logs that lines of the seal name on the copy, ahead of the lines.
func (c *copyRun) bringLogs(ctx context.Context, log *authority.Log) error {
	return c.r.others.Bring(ctx, c.forOthers(), log.Lines, c.r.who.Copies)
}
