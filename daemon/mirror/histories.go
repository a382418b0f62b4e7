package mirror

import (
	"context"
	"fmt"
	"slices"

	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

// gather reads the logs of other histories that a copy keeps beside its own.
func (r *round) gather(ctx context.Context, c *copyRun) error {
	return r.others.Read(ctx, c.forOthers(), r.log.Seal)
}

// keepLogs has each log of another history that was met kept on all copies in reach,
// and named in the archive's.
func (r *round) keepLogs(ctx context.Context) error {
	for _, log := range r.others.Logs {
		for _, c := range r.copies {
			if !c.usable() {
				continue
			}
			if err := store.PutLate(ctx, c.Root, log.Seal); ctx.Err() != nil {
				return ctx.Err()
			} else if err != nil {
				c.fail(fmt.Errorf("keeping the seal of another history there: %w", err))
			}
		}
		if slices.ContainsFunc(r.objects.Log().Lines, func(l seal.Line) bool { return l.What == seal.Late && l.Log == log.Digest() }) {
			continue
		}
		holder := r.firstHolder()
		if holder == nil {
			return nil
		}
		if err := r.who.Begin(ctx); err != nil {
			return err
		}
		line := seal.Line{At: r.created, What: seal.Late, Lines: log.Len(), Log: log.Digest(), Why: "met on " + log.Met}
		if err := holder.write(ctx, line); err != nil {
			return err
		}
	}
	return nil
}

// bringLogs puts the logs that lines of the seal name on the copy, ahead of the lines.
func (c *copyRun) bringLogs(ctx context.Context, lines []seal.Line) error {
	for _, l := range lines {
		if l.What != seal.Late {
			continue
		}
		log, err := c.r.others.Find(ctx, c.r.who.Copies, c.ID, l.Log)
		if err != nil {
			return err
		}
		if log == nil {
			continue // on no copy in reach: the next that is read anew brings it
		}
		if err := store.PutLate(ctx, c.Root, log); err != nil {
			return fmt.Errorf("keeping the seal of another history there: %w", err)
		}
	}
	return nil
}
