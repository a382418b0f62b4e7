package mirror

import (
	"context"
	"time"

	"linecamp/daemon/authority"
	"linecamp/daemon/carried"
)

// awaitPlan waits until it is known what this round is to record, so that a copy's list
// names that too. Where the first holder has to catch up itself, nobody waits for it: the
// lists are made again once the plan is there.
func (r *round) awaitPlan(ctx context.Context) {
	select {
	case <-r.hasPlan:
	case <-ctx.Done():
	}
}

// carryFirst puts on the copy, before the first upload and after each new plan, what a
// new computer would need if this one died on the way. The caller has the copy's turn.
func (c *copyRun) carryFirst(ctx context.Context) {
	c.r.planned()
	if plans := c.r.todo.Plans(); !c.sends || c.carriedPlan != plans {
		c.sends, c.carriedPlan = true, plans
		c.carry(ctx)
	}
}

// carryLast does so again once nothing more is sent, on a drive with the program.
func (c *copyRun) carryLast(ctx context.Context) {
	c.turn.Lock()
	defer c.turn.Unlock()
	c.carry(ctx)
	if c.carries(ctx) {
		c.noteCarried(ctx, carried.PutProgram(ctx, c.forCarried(), c.r.Ledger, c.r.Program, c.r.Now()))
	}
}

// carries reports whether this computer says what goes there: the one that records.
func (c *copyRun) carries(ctx context.Context) bool {
	if c.r.Tally == nil || !c.usable() || c.elsewhere("") || ctx.Err() != nil || c.Link.May() != nil {
		return false
	}
	last, err := authority.LastAuthor(c.r.Ledger, c.r.ArchiveID)
	return c.r.claimed.Load() || err == nil && last.Author == c.r.Author
}

func (c *copyRun) carry(ctx context.Context) {
	if !c.carries(ctx) {
		return
	}
	if c.r.Settings != nil {
		c.noteCarried(ctx, carried.PutSettings(ctx, c.forCarried(), c.r.Ledger, c.r.Settings, c.r.Now()))
	}
	list := carried.List{Made: c.r.Now().UTC().Truncate(time.Second), Machine: c.r.Machine, FolderFiles: c.r.Tally.Files}
	log, _, _ := c.r.look()
	if err := c.r.todo.Of(ctx, &list, log, c.r.objects, c.holds.Has); err != nil {
		c.noteCarried(ctx, err)
		return
	}
	c.r.mu.Lock()
	for _, w := range c.r.report.Waiting {
		if w.Path != "" {
			list.Wait(w.Path, w.Reason)
		}
	}
	c.r.mu.Unlock()
	c.noteCarried(ctx, carried.PutList(ctx, c.forCarried(), c.r.Ledger, list, !c.sends))
}

func (c *copyRun) forCarried() carried.Copy { return carried.Copy{ID: c.ID, Root: c.Root} }

// noteCarried tells what could not be put there: it costs knowledge, and no photo.
func (c *copyRun) noteCarried(ctx context.Context, err error) {
	if err != nil && ctx.Err() == nil {
		c.note(err.Error())
	}
}

func (c *copyRun) note(text string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.out.Note = text
}
