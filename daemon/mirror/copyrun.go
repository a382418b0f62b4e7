package mirror

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"

	"linecamp/daemon/authority"
	"linecamp/daemon/authority/marks"
	"linecamp/daemon/mirror/blocked"
	"linecamp/daemon/mirror/committed"
	"linecamp/daemon/mirror/gone"
	"linecamp/daemon/mirror/late"
	"linecamp/daemon/mirror/making"
	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/queue"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/mirror/short"
	"linecamp/daemon/mirror/sites"
	"linecamp/daemon/mirror/source"
	"linecamp/daemon/mirror/taking"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/words"
)

// copyRun is one copy during a round.
type copyRun struct {
	Copy
	r       *round
	workers int // files under way at once

	turn sync.Mutex // held while a version is made or taken over

	holds   gone.Holds
	queue   queue.Queue
	loose   late.Loose
	blocked blocked.Sites

	parted bool // its seal tells another history than ours

	mu       sync.Mutex
	out      report.CopyState
	short    short.List
	failed   error
	answered map[marks.Mark]bool // versions begun there in this round, of which each write was answered
	done     int64
	total    int64

	sealLen int  // lines of the seal the copy is known to hold
	next    int  // the first seal line not yet looked at
	scanned bool // every site there was looked at in this round
	taken   int  // versions of another history that were taken in from there

	sends       bool // something is sent there in this round
	carriedPlan int  // the plan that its list was made from
}

func newCopyRun(r *round, c Copy) *copyRun {
	run := &copyRun{Copy: c, r: r, workers: 2, answered: map[marks.Mark]bool{}}
	if !c.Can().Local {
		run.workers = c.Link.AtOnce()
	}
	if r.OneByOne {
		run.workers = 1
	}
	run.out.Copy = c.Name
	run.queue.Link = c.Link
	d, ok := c.Root.(interface{ Largest() int64 })
	run.short.Ledger, run.short.CopyID, run.short.FAT = r.Ledger, c.ID, ok && d.Largest() == 1<<32-1
	run.short.Load()
	run.loose = late.Loose{CopyID: c.ID, Notes: r.Ledger}
	run.holds = gone.Holds{Copy: run.forOthers(), Ledger: r.Ledger, Block: run.blocked.Add}
	return run
}

// forOthers is the copy as the rooms below see it.
func (c *copyRun) forOthers() authority.Copy {
	return authority.Copy{ID: c.ID, Name: c.Name, Root: c.Root, Usable: c.usable, CanRead: c.canRead, Fail: c.fail, Note: c.note}
}

// usable reports whether the copy can be read and written in this round.
func (c *copyRun) usable() bool { return c.Root != nil && c.broken() == nil }

// canRead reports whether the copy can be asked for bytes: also one that takes no
// more in this round, as long as it answers.
func (c *copyRun) canRead() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.Root != nil && !fault.Of(c.failed).OutOfReach()
}

// broken is what ended the copy's part in this round, nil while it goes on.
func (c *copyRun) broken() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.failed
}

func (c *copyRun) fail(err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.failed == nil {
		c.failed = err
	}
}

// wayOn says what a person can do about a copy that has to be asked and cannot be.
func (c *copyRun) wayOn() string {
	first := "bring it within reach"
	if c.Root != nil || c.Err != nil && !fault.Of(c.Err).OutOfReach() { // it is there, and something is wrong with it
		first = "see what is said of it above"
	}
	return fmt.Sprintf("%s, or give it up with `linecamp mirror --without %s`", first, words.Quote(c.Name))
}

// elsewhere reports whether what the copy has of slug belongs to another history.
func (c *copyRun) elsewhere(slug string) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.parted || c.loose.Has(slug)
}

// follow catches up whenever the seal grows, until authoring is over.
func (c *copyRun) follow(ctx context.Context) {
	c.r.awaitPlan(ctx)
	for {
		_, grown, authored := c.r.look()
		if !c.catchUp(ctx) || authored {
			return
		}
		select {
		case <-grown:
		case <-ctx.Done():
			return
		}
	}
}

// forgetBegun clears a copy of versions that an earlier round began and this one found no
// reason to make, once nothing is left to do there: a drive of what is staged, a bucket of
// parts of large files, where this round carried out its plan and nothing waits that may go
// on with them. What a mend sends in parts is of a version that is there. A clone of the
// state folder knows of the uploads from before it was made: what it ends while its twin
// still sends it, the twin begins again, once, as one that the clone does not know of.
func (c *copyRun) forgetBegun(ctx context.Context) {
	log, _, _ := c.r.look()
	if ctx.Err() != nil || c.r.Tally == nil || !c.final(log).Through() {
		return
	}
	switch root := c.Root.(type) {
	case interface{ ForgetBegun() error }:
		if err := root.ForgetBegun(); err != nil {
			c.fail(fmt.Errorf("clearing what was begun there: %w", err))
		}
	case interface {
		EndUploads(ctx context.Context, over func(object string, version int) bool)
	}:
		c.r.mu.Lock()
		waits := len(c.r.report.Waiting)+len(c.r.report.HeldUp) > 0
		c.r.mu.Unlock()
		failed := func(o *copyRun) bool { return o.broken() != nil } // of what it was to make, nothing else tells
		if c.r.claimed.Load() && !waits && !slices.ContainsFunc(c.r.copies, failed) {
			root.EndUploads(ctx, func(slug string, n int) bool { return n > c.holds.Has(slug) })
		}
	}
}

// catchUp takes over every version the seal names and the copy lacks. It
// reports whether the copy can still be used.
func (c *copyRun) catchUp(ctx context.Context) bool {
	c.turn.Lock()
	defer c.turn.Unlock()
	if c.broken() != nil {
		return false // it failed while versions were made there
	}
	log, _, _ := c.r.look()
	if err := c.takeAll(ctx, log); err != nil {
		if ctx.Err() == nil {
			c.fail(err)
		}
		return false
	}
	return true
}

func (c *copyRun) takeAll(ctx context.Context, log *authority.Log) error {
	if err := c.putSeal(ctx, log); err != nil {
		return err
	}
	lines := log.Lines
	order, err := c.queue.Order(ctx, lines[c.next:], func(l seal.Line, slug string) bool {
		return c.holds.Has(slug) < l.Version && log.Counts(slug, l)
	})
	if err != nil {
		return err
	}
	if c.r.Progress != nil {
		c.expectBytes(c.queue.Bytes(ctx, order))
	}
	for _, line := range order {
		if err := ctx.Err(); err != nil {
			return err
		}
		_, slug, err := manifest.ParseObjectID(line.Object)
		if err != nil {
			return err
		}
		if c.holds.Has(slug) >= line.Version || c.stuck(slug) {
			continue
		}
		if c.holds.Has(slug) != line.Version-1 {
			c.blocked.Add(slug, "an earlier version is lacking there")
			continue
		}
		if ok, err := c.queue.Start(ctx, slug, line.Version); err != nil {
			return err
		} else if !ok {
			continue
		}
		c.carryFirst(ctx)
		if err := c.take(ctx, slug, line); err != nil {
			return err
		}
	}
	c.next = len(lines)
	return nil
}

func (c *copyRun) stuck(slug string) bool {
	return c.blocked.Has(slug) || c.loose.Has(slug) || c.queue.Has(slug)
}

// putSeal brings the copy's seal to the lines of ours, ahead of its content.
func (c *copyRun) putSeal(ctx context.Context, log *authority.Log) error {
	if err := c.bringLogs(ctx, log); err != nil || c.sealLen >= log.Seal.Len() {
		return err
	}
	if err := authority.PutSeal(ctx, c.r.Ledger, c.forOthers(), log.Seal); err != nil {
		return err
	}
	c.sealLen = log.Seal.Len()
	return nil
}

// hasAllLines reports whether the copy's seal has every line there is.
func (c *copyRun) hasAllLines() bool {
	seal, err := c.r.Cache.Seal()
	return err == nil && c.sealLen >= seal.Len()
}

// take brings one version to the copy: content, then the commit.
func (c *copyRun) take(ctx context.Context, slug string, line seal.Line) error {
	o, err := c.r.objects.Get(ctx, slug)
	if errors.Is(err, sites.ErrNoInventory) || err == nil && o.Head() < line.Version { // it counts no more
		return c.awaits(slug, line, plan.ReasonInventory)
	}
	if err != nil {
		return err
	}
	inv := o.Inv.Until(line.Version)
	encoded := inv.Encode()
	if manifest.Sum(encoded) != line.Inventory {
		return fmt.Errorf("version %d of %s: the manifest at hand is not the one the seal names", line.Version, slug)
	}
	if held, err := c.heldBack(slug, c.sameBefore(ctx, slug, line.Version)); held || err != nil {
		return err
	}

	b, err := c.Root.Begin(ctx, slug, line.Version)
	if errors.Is(err, store.ErrConflict) {
		return c.adopt(ctx, slug, line)
	}
	if held, err := c.heldBack(slug, err); held {
		return nil
	} else if err != nil {
		return fmt.Errorf("starting version %d of %s: %w", line.Version, slug, err)
	}
	t := c.forTaking(o, line.Version)
	t.Build, t.Content = b, inv.Paths(line.Version)
	defer func() { t.Build.Close() }()
	if path := t.Unnamed(); path != "" {
		c.blocked.Add(slug, path+" there, of a version that was never finished, is not in the one with its number; the computer that records goes on with the site in another folder there")
		return c.r.begun.Add(marks.Mark{Copy: c.ID, Slug: slug, N: line.Version})
	}
	if err := t.ReplaceUnfinished(ctx, c.r.Aside); err != nil {
		return fmt.Errorf("version %d of %s: %w", line.Version, slug, err)
	}
	if err := t.Bring(ctx); errors.Is(err, taking.ErrBlocked) {
		return nil
	} else if err != nil {
		return fmt.Errorf("version %d of %s: %w", line.Version, slug, err)
	}
	if t.Sought != "" && !c.r.everyoneAsked() {
		return c.awaits(slug, line, "bytes of "+manifest.Printable(t.Sought)+" are on no copy in reach")
	}
	if err := t.Build.Commit(ctx, encoded); err != nil {
		return fmt.Errorf("committing version %d of %s: %w", line.Version, slug, err)
	}
	return c.committed(t)
}

// adopt takes note of a version the copy has although the ledger does not know
// it: the round that brought it ended before it could say so.
func (c *copyRun) adopt(ctx context.Context, slug string, line seal.Line) error {
	err := committed.IsSealed(ctx, c.Root, slug, line.Version, line.Inventory)
	if errors.Is(err, committed.ErrOther) {
		if cleared, err := c.outrun(ctx, slug, line.Version); err != nil {
			return err
		} else if cleared {
			return c.take(ctx, slug, line)
		}
	}
	if err == nil {
		var there bool
		if there, err = c.holds.There(ctx, slug, fmt.Sprintf("v%d/inventory.json", line.Version)); err == nil && !there {
			err = store.ErrDamaged // a sidecar alone: a check finds it, and mend puts it back
		}
	}
	if held, err := c.heldBack(slug, err); held || err != nil {
		return err
	}
	if _, err := store.Settle(ctx, c.Root, slug); err != nil {
		return fmt.Errorf("finishing %s: %w", slug, err)
	}
	return errors.Join(c.holds.SetHas(slug, line.Version), c.caughtUp(slug, line.Version))
}

// caughtUp forgets that versions up to n were begun there and made elsewhere: there is
// the sealed one now, and what stands in its place later is another history's.
func (c *copyRun) caughtUp(slug string, n int) error {
	return c.r.passedOver.Drop(func(m marks.Mark) bool { return m.Copy == c.ID && m.Slug == slug && m.N <= n })
}

// sameBefore checks that the version the new one builds on is the sealed one.
func (c *copyRun) sameBefore(ctx context.Context, slug string, n int) error {
	if n == 1 {
		return nil
	}
	want, ok := c.r.sealed(slug, n-1)
	if !ok {
		return committed.ErrOther
	}
	return committed.IsSealed(ctx, c.Root, slug, n-1, want)
}

// heldBack takes in what stops one site on this copy and no other.
func (c *copyRun) heldBack(slug string, err error) (bool, error) {
	switch {
	case errors.Is(err, committed.ErrOther):
		return true, c.loose.Add(slug, 0)
	case errors.Is(err, store.ErrDamaged):
		c.blocked.Add(slug, gone.ReasonManifest)
	default:
		return false, err
	}
	return true, nil
}

// everyoneAsked reports whether every copy could be asked for
// bytes in this round. Only then is content "on no copy".
func (r *round) everyoneAsked() bool {
	return !slices.ContainsFunc(r.copies, func(c *copyRun) bool { return !c.usable() })
}

// places are where bytes may be in this round.
func (r *round) places() source.Places {
	p := source.Places{Old: r.Cache.OldRecord}
	if r.Tally != nil {
		p.Folder = r.Tally.Folder
	}
	for _, c := range r.copies {
		p.Copies = append(p.Copies, source.Place{Copy: c.forOthers(), Has: c.holds.Has})
	}
	return p
}

// forTaking is the copy as one that version n of an object goes to.
func (c *copyRun) forTaking(o *sites.Object, n int) *taking.Version {
	return &taking.Version{
		Copy:   taking.Copy{ID: c.ID, Root: c.Root, Ledger: c.r.Ledger, Queue: &c.queue, Holds: &c.holds, Short: &c.short, Workers: c.workers, Advance: c.advance, Now: c.r.Now, Block: c.blocked.Add},
		Object: o, N: n, People: o.Inv.Until(n).Files(),
		Sources: func(wanted map[string]manifest.Digest) map[manifest.Digest][]source.Source {
			return c.r.places().For(o, n, wanted, c.ID)
		},
	}
}

// committed notes what the copy has now, for the report too.
func (c *copyRun) committed(t *taking.Version) error {
	if err := errors.Join(t.Committed(), c.caughtUp(t.Object.Slug, t.N)); err != nil {
		return err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.out.Versions++
	c.out.Files += t.Files
	c.out.Bytes += t.Stored
	c.out.Missing = append(c.out.Missing, t.Missing...)
	return nil
}

// forMaking is the copy as one on which a version of slug is made.
func (c *copyRun) forMaking(slug string) making.Copy {
	return making.Copy{Root: c.Root, Queue: &c.queue, Workers: c.workers, Advance: c.advance, Lacks: func(content string, d manifest.Digest, name string, large bool) error {
		if !large {
			c.mu.Lock()
			c.out.Missing = append(c.out.Missing, name)
			c.mu.Unlock()
		}
		return c.short.Add(short.As(slug, content, d, name, large))
	}}
}

// final is the copy's line in the report.
func (c *copyRun) final(log *authority.Log) report.CopyState {
	c.mu.Lock()
	defer c.mu.Unlock()
	out, loose := c.out, c.loose.Slugs()
	out.Gone = c.holds.Gone()
	stopped, lacks := c.blocked.String(), ""
	out.TooLarge, lacks = c.short.TooLarge()
	switch {
	case c.Away:
		out.State = reach.Away
	case c.Root == nil:
		out.State, out.Error = reach.StateOf(c.Err), "it could not be opened"
		if c.Err != nil {
			out.Error = c.Err.Error()
		}
	case c.failed != nil:
		out.State, out.Error = reach.StateOf(c.failed), c.failed.Error()
	case stopped != "":
		out.State, out.Error = reach.Behind, stopped
	case len(loose) > 0:
		out.State = reach.Behind
		out.Error = words.Count(len(loose), "site has", "sites have") + " versions there of another history, and the next `linecamp mirror` on the recording computer takes them in"
	case log == nil || c.next < len(log.Lines):
		out.State = reach.Behind
	case c.queue.Why() != "":
		out.State, out.Kept = reach.Behind, c.queue.Why()
	default:
		out.State = reach.Current
		if lacks != "" {
			out.State, out.Error = reach.Behind, lacks
		}
	}
	return out
}
