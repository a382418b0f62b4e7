// Package mirror brings every copy of an archive up to date. Call [Run] with the
// tally and the copies; its [Report] says how each copy stands, and what waits.
//
// One round has two halves that run side by side:
//
//   - Authoring. What the tally shows is compared with the newest recorded
//     state of each site; the difference becomes one or several new versions.
//     Each is made first on the first holder (the first reachable drive, else
//     the bucket), and counts once it is committed there and the seal has its
//     line. Only the archive's author makes versions.
//   - Catching up. Every other copy walks the seal in its own goroutine and
//     takes over, byte for byte, each version it lacks. Content comes from the
//     working folder or from any copy that has bytes with the right digest.
//     A slow or absent copy holds up nobody.
//
// Nothing is ever removed from a copy. A change that looks like harm (many files altered or gone
// at once, bytes that changed although size and time did not, a folder that could not be listed)
// is not recorded: the path keeps its entry and is reported as waiting.
//
// What a crash leaves: an uncommitted version on the first holder, which the store sets aside or
// carries on with; or a committed version whose seal line is missing, which the next round
// recognizes by the mark in the ledger (or by reading the copy, where that is new) and adds.
//
// The caller holds the lock of every copy it passes in, and the archive's
// authoring lock; this package takes neither, and says when each may go.
package mirror

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"linecamp/daemon/attention"
	"linecamp/daemon/authority"
	"linecamp/daemon/authority/marks"
	"linecamp/daemon/carried"
	"linecamp/daemon/ledger"
	"linecamp/daemon/link"
	"linecamp/daemon/mirror/late"
	"linecamp/daemon/mirror/left"
	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/mirror/sites"
	"linecamp/manifest/store"
	"linecamp/manifest/tally"
)

// Copy is one storage root of the archive as this round finds it.
type Copy struct {
	Name string
	ID   string // the copy's uuid, which its root carries
	Root store.Root
	Err  error      // why Root is nil
	Away bool       // not plugged in, within the days its owner allows
	Link *link.Link // the way to a bucket; nil for one without limits
}

// Can tells what the copy can do; nothing while it is out of reach.
func (c Copy) Can() store.Abilities { return store.CanOf(c.Root) }

// Acceptance is a person's word that a large change is meant.
type Acceptance struct {
	Who string
	Why string
}

// In is all a round works on.
type In struct {
	Archive   string        // the name in object ids, from the roots
	ArchiveID string        // the archive's uuid
	Author    string        // the uuid of this state folder
	Copied    string        // the author whose state folder it is a copy of, "" for none
	Machine   string        // this computer's name, for people
	Tally     *tally.Result // nil where this computer only keeps the archive
	Copies    []Copy        // in the config's order
	Ledger    *ledger.Ledger
	Cache     *ledger.Inventories
	Accept    *Acceptance // nil: large changes wait
	GivenUp   []string    // ids of copies that a person gave up or took out of use; none of them is in Copies
	Aside     string      // local folder for bytes that are set aside
	Now       func() time.Time
	Progress  func(copy string, done, total int64) // bytes; may be nil
	OneByOne  bool                                 // one copy and one file at a time: slow, and repeats exactly
	Settings  []byte                               // what each copy is to hold of the settings; nil for none
	Program   carried.Program                      // what each drive is to hold; the zero value is none

	// Authored is called once no more versions come in this round, and Done as
	// soon as the round writes no more to a copy. The locks the caller holds
	// may go then, so that a slow copy holds up nobody. Both may be nil.
	Authored func()
	Done     func(copyID string)

	synced func() // for tests: what a power cut leaves of the ledger is now what it holds
	most   int64  // for tests: what one version carries; 0 is versionBytes
}

// round is one run over one archive.
type round struct {
	In
	copies            []*copyRun
	objects           *sites.Catalogue
	who               *authority.Recorder
	created           time.Time // every version of the round carries it
	begun, passedOver *marks.List
	todo              left.Todo
	hasPlan           chan struct{} // closed once nobody has to wait for the plan any more
	planned           func()        // closes it
	claimed           atomic.Bool   // this computer is the one that records

	mu       sync.Mutex
	log      *authority.Log // replaced, never changed
	grown    chan struct{}  // closed when the seal grew or authoring ended
	newer    bool           // a newer program recorded on a copy
	others   late.Others    // histories that were met
	authored bool           // no more versions come in this round
	report   report.Report
}

// Run does one round: it authors what is new, brings every reachable copy up
// to date and says how each stands. The error is for what stopped the round as
// a whole (no inventory can be read, the context ended); what befell one copy
// stands in its own line of the report.
func Run(ctx context.Context, in In) (report.Report, error) {
	if in.Now == nil {
		in.Now = time.Now
	}
	r := &round{In: in, begun: marks.Begun(in.Ledger), passedOver: marks.PassedOver(in.Ledger), grown: make(chan struct{}), hasPlan: make(chan struct{})}
	r.planned = sync.OnceFunc(func() { close(r.hasPlan) })
	r.report.Archive, r.others.Notes, r.others.Tell = in.Archive, in.Ledger, r.inquire
	for _, c := range in.Copies {
		r.copies = append(r.copies, newCopyRun(r, c))
	}
	r.who = r.recorder()
	r.objects = &sites.Catalogue{Cache: in.Cache, Tally: in.Tally, Copies: r.who.Copies, Log: func() *authority.Log {
		log, _, _ := r.look()
		return log
	}}
	for _, c := range r.copies {
		c.holds.Sites = r.objects
		c.queue.Objects = r.objects
	}
	if err := r.meet(ctx); err != nil {
		return r.finish(), err
	}

	var following sync.WaitGroup
	follow := func(c *copyRun) {
		c.follow(ctx)
		c.forgetBegun(ctx)
		c.holds.KeepLost()
		c.carryLast(ctx)
		if err := r.who.End(ctx, c.ID, c.hasAllLines); err != nil {
			c.fail(err)
		}
		if in.Done != nil {
			in.Done(c.ID)
		}
	}
	for _, c := range r.copies {
		if c.usable() && !in.OneByOne {
			following.Go(func() { follow(c) })
		}
	}
	err := r.lead(ctx)
	r.endAuthoring()
	if in.Authored != nil {
		in.Authored()
	}
	for _, c := range r.copies {
		if c.usable() && in.OneByOne {
			follow(c)
		}
	}
	following.Wait()
	if err == nil {
		err = ctx.Err()
	}
	if ferr := in.Ledger.Flush(); ferr != nil && err == nil {
		err = fmt.Errorf("writing the ledger: %w", ferr)
	}
	return r.finish(), err
}

// lead authors what is new on the first holder. If that copy fails on the way
// (full, pulled out), the next one takes its place.
func (r *round) lead(ctx context.Context) error {
	if r.Tally == nil {
		return nil
	}
	for _, w := range r.Tally.Waiting {
		r.wait(attention.FileWaits, w.Path, w.Reason, !w.Passes())
	}
	if r.newer {
		r.wait(attention.RecordingHeld, "", authority.ErrNewer.Error(), true)
		return nil
	}
	for _, c := range r.copies {
		if errors.Is(c.Err, store.ErrBusy) {
			// Whoever is at it may be recording, and what it records is not known here.
			r.wait(attention.RecordingHeld, "", fmt.Sprintf("another linecamp is writing to %s, and may be recording, so nothing is recorded here; the next round looks again. Two state folders for one archive on one computer are one too many", c.Name), true)
			return nil
		}
	}
	for {
		first := r.firstHolder()
		if first == nil {
			r.wait(attention.RecordingHeld, "", report.ReasonNoCopy, true)
			return nil
		}
		err := r.leadOn(ctx, first)
		if errors.Is(err, errUnsealed) && ctx.Err() == nil {
			// A power cut took the mark from the ledger and left the version on
			// the copy. The mark is there again now, and has it sealed.
			err = r.leadOn(ctx, first)
		}
		if errors.Is(err, errUnsealed) && ctx.Err() == nil {
			first.fail(err)
			err = nil
		}
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, authority.ErrHoldOff):
			return nil
		case err != nil:
			return err
		case first.usable():
			return nil
		}
		if err := r.release(ctx, first); errors.Is(err, authority.ErrHoldOff) {
			return nil
		} else if err != nil {
			return err
		}
	}
}

// leadOn brings the first holder up to date and authors there. What befalls
// that copy is noted there; the error is for the round.
func (r *round) leadOn(ctx context.Context, first *copyRun) error {
	if !first.catchUp(ctx) {
		return nil
	}
	if err := r.mayAuthor(ctx, first); ctx.Err() != nil || !first.usable() {
		return ctx.Err()
	} else if err != nil {
		return err
	}
	if !first.catchUp(ctx) { // what has its line only now
		return nil
	}
	r.claimed.Store(true)
	if err := r.meetOthers(ctx, false); err != nil {
		return err
	}
	if !first.catchUp(ctx) { // where it gave way
		return nil
	}
	steps, err := plan.Make(ctx, plan.In{
		Tally: r.Tally, User: r.user(), Accepted: r.Accept != nil, Ledger: r.Ledger, Sites: r.objects, Most: r.most, Wait: func(path, reason string, person bool) { r.wait(plan.KindOf(reason), path, reason, person) }, Question: r.inquire,
	})
	if err != nil {
		return err
	}
	for _, st := range steps {
		first.expectBytes(st.Size)
	}
	r.todo.Plan(steps)
	r.planned()
	for _, st := range steps {
		if r.undone(st.Slug) {
			r.wait(attention.RecordingHeld, st.Slug, report.ReasonOther, false)
			r.todo.Made()
			continue
		}
		if ok, err := first.queue.New(st.Slug, st.Size); err != nil {
			return err
		} else if !ok {
			r.wait(attention.RecordingHeld, "", report.ReasonLink+first.queue.Why(), false)
			continue
		}
		holder := first
		if first.elsewhere(st.Slug) { // what another history recorded there stays
			if c := r.holderOf(ctx, st.Slug, first, false); c != nil {
				holder = c
			}
		}
		err := holder.author(ctx, st)
		r.todo.Made()
		if err != nil {
			if ctx.Err() == nil && !errors.Is(err, authority.ErrHoldOff) && !errors.Is(err, errUnsealed) {
				holder.fail(err)
				return nil
			}
			return err
		}
	}
	return r.meetOthers(ctx, true)
}
