package mirror

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"linecamp/daemon/attention"
	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/late"
	"linecamp/daemon/mirror/making"
	"linecamp/daemon/mirror/sites"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// What a copy has of another history is loose there: committed, and not the archive's. The
// computer that records takes each such version in, once: as it is where its number is free, else
// by a version of its own that brings what it brought. Then it gives way on a drive. In a bucket
// nothing committed is ever replaced: there the object is closed, and its site goes on in another.

// meetOthers has this history and others that were met go on as one: their logs are kept,
// and what is loose is taken in.
func (r *round) meetOthers(ctx context.Context, planned bool) error {
	if err := r.keepLogs(ctx); err != nil {
		return err
	}
	if err := r.closeBegun(ctx); err != nil {
		return err
	}
	return r.takeIn(ctx, planned)
}

// closeBegun closes each object of which a bucket has the beginning of another version than
// the one that got its number: a computer began it that nobody could ask when this one was
// made elsewhere. The bucket can never take that one, whose manifest leaves files there out.
func (r *round) closeBegun(ctx context.Context) error {
	all, err := r.begun.All()
	if err != nil {
		return err
	}
	for _, c := range r.copies {
		for _, m := range all {
			log := r.objects.Log()
			if m.Copy != c.ID || m.N > log.Head(m.Slug) || log.Closed(m.Slug) || !c.usable() || c.Can().Staged || c.elsewhere(m.Slug) || c.holds.Has(m.Slug) != m.N-1 {
				continue
			}
			o, err := r.objects.Get(ctx, m.Slug)
			if err != nil {
				continue // it waits, and the report says for what
			}
			other, err := late.Begun(ctx, c.Root, o.Inv, m.N)
			if err != nil && ctx.Err() == nil {
				c.fail(err)
			}
			if other {
				if err := r.close(ctx, c, m.Slug, m.N, "the beginning of another v%d"); err != nil {
					return err
				}
			}
		}
	}
	return ctx.Err()
}

// takeIn takes in what is loose on each copy that can be read. Where that has to wait,
// the site waits, and the report says for what; the error is for the round.
func (r *round) takeIn(ctx context.Context, planned bool) error {
	for _, c := range r.copies {
		for _, slug := range c.loose.Slugs() {
			if !c.canRead() {
				break
			}
			err := r.takeInSite(ctx, c, slug, planned)
			switch {
			case err == nil:
			case ctx.Err() != nil:
				return ctx.Err()
			case errors.Is(err, authority.ErrHoldOff), errors.Is(err, errUnsealed):
				return err
			case fault.Of(err).OfCopy():
				c.fail(err)
			default: // it stays as it is there, and the site goes on elsewhere
				c.blocked.Add(slug, err.Error())
				c.loose.Rest(slug)
			}
		}
	}
	return nil
}

// takeInSite takes in what one copy has loose of one object.
func (r *round) takeInSite(ctx context.Context, c *copyRun, slug string, planned bool) error {
	inv, err := store.Head(ctx, c.Root, slug)
	if errors.Is(err, store.ErrNoObject) {
		return c.unloose(slug, 0)
	}
	if err != nil {
		return fmt.Errorf("reading the versions of another history there of %s: %w", slug, err)
	}
	if inv.ID != manifest.ObjectID(r.Archive, slug) {
		return fault.Say(store.ErrDamaged, "%s there says it is %q", slug, inv.ID)
	}
	if c.usable() { // its round may have been killed before it wrote what is derived
		if _, err := store.Settle(ctx, c.Root, slug); err != nil {
			return fmt.Errorf("finishing %s: %w", slug, err)
		}
	}
	log := r.objects.Log()
	chain := late.Chain{Slug: slug, Inv: inv, From: late.From(inv, log.Index[slug]), On: c.forOthers()}
	if chain.From == 0 {
		return c.unloose(slug, inv.Head())
	}
	if n := r.others.Known(log, slug, inv, chain.From); n < inv.Head() {
		return fault.Say(store.ErrDamaged, "version %d of %s there is in no seal, so linecamp leaves it there; run `linecamp verify`", n+1, slug)
	}
	theirs, err := chain.Record(ctx, inv.Head(), nil)
	if err != nil {
		return err
	}
	into, o, err := chain.Into(ctx, r.objects, theirs, func(s string) bool {
		return slices.ContainsFunc(r.copies, func(c *copyRun) bool { return c.holds.Has(s) > 0 })
	})
	if err != nil {
		return err
	}
	closed := log.Closed(slug)
	switch {
	case chain.From > log.Head(slug) && !closed && into == slug:
		if err := r.sealFrom(ctx, c, slug, inv); err != nil {
			return err
		}
		if r.objects.Log().Head(slug) < inv.Head() { // its record rotted, and is made anew
			if err := r.sealUpTo(ctx, c, slug, inv); err != nil {
				return err
			}
		}
		return c.unloose(slug, inv.Head())
	case !closed && !c.Can().GivesWay && c.usable(), closed && chain.From <= log.Head(slug):
		return r.close(ctx, c, slug, chain.From, "other versions from v%d on") // once more where it is closed: what stands there is in the way of more
	case closed && o == nil && !planned && len(sites.Shown(r.Tally, &sites.Object{Inv: inv, Rec: theirs})) > 0:
		return nil // the plan makes the further object from the folder
	}
	for n := chain.From; n <= inv.Head(); n++ {
		if o != nil && late.Done(inv, n, o.Inv) {
			continue
		}
		h := r.holderOf(ctx, into, c, closed)
		if h == nil {
			r.wait(attention.RecordingHeld, slug, fmt.Sprintf("%s has versions of another history of the site, and no other copy that has the site's newest version is in reach to take those in; bring one within reach", c.Name), true)
			return nil
		}
		if o, err = r.bring(ctx, h, chain, n, into, o); err != nil || o == nil || !late.Done(inv, n, o.Inv) {
			return err // the report says why
		}
		c.took()
	}
	c.loose.Rest(slug)
	return r.makeWay(ctx, c, chain, o)
}

// makeWay has the copy go on with the archive's versions, once another copy in reach has
// all the bytes that it had loose of the object: a version may have been committed without some.
func (r *round) makeWay(ctx context.Context, c *copyRun, chain late.Chain, o *sites.Object) error {
	slug, closed := chain.Slug, r.objects.Log().Closed(chain.Slug)
	var others []authority.Copy
	for _, h := range r.copies {
		if (h != c || closed) && h.usable() && !h.elsewhere(o.Slug) && h.holds.Has(o.Slug) >= o.Head() {
			others = append(others, h.forOthers())
		}
	}
	if only, err := chain.OnlyThere(ctx, o, others); err != nil {
		return err
	} else if only != "" {
		return fmt.Errorf("the bytes of %s are on no other copy in reach that can hold them, so the other history's version stays there; bring another copy within reach", manifest.Printable(only))
	}
	switch {
	case closed:
		return c.unloose(slug, min(c.holds.Has(slug), r.objects.Log().Head(slug)))
	case !c.usable():
		return nil
	}
	c.turn.Lock()
	err := c.holds.GiveWay(ctx, slug, chain.From)
	c.turn.Unlock()
	if err != nil {
		return err
	}
	return c.unloose(slug, chain.From-1)
}

// close has an object not be gone on with: where a version in a bucket stands in the
// way of a sealed one, neither is ever touched, and the site goes on in a further object.
func (r *round) close(ctx context.Context, c *copyRun, slug string, from int, has string) error {
	line := seal.Line{At: r.created, What: seal.Closed, Object: manifest.ObjectID(r.Archive, slug), Version: from,
		Why: fmt.Sprintf("%s has "+has, c.Name, from)}
	if added, err := r.writeFirst(ctx, line); err != nil || !added {
		return err
	}
	for _, other := range r.copies {
		if other.holds.Has(slug) < from {
			continue
		}
		if err := other.loose.Add(slug, from); err != nil {
			return err
		}
	}
	return r.dropMarks(slug, math.MaxInt)
}

// bring makes the version that brings version n of a chain, and returns the object then.
func (r *round) bring(ctx context.Context, h *copyRun, chain late.Chain, n int, into string, o *sites.Object) (*sites.Object, error) {
	rec, err := chain.Record(ctx, n, o)
	if err != nil {
		return nil, err
	}
	shown := o
	if o == nil {
		shown = &sites.Object{Inv: chain.Inv, Rec: rec}
	}
	past, err := chain.Past(ctx, r.objects)
	if err != nil {
		return nil, err
	}
	v := late.Compose(o, chain.Inv, n, rec, past, sites.Shown(r.Tally, shown))
	if o == nil && chain.From > 1 && r.objects.Log().Closed(chain.Slug) {
		v.Record.Decisions = append(v.Record.Decisions, r.objects.GoesOnFrom(chain.Slug))
	}
	made := chain.Inv.Versions[n-1]
	err = h.make(ctx, into, o != nil, func(*begun) making.What {
		return &making.Brought{Version: v, User: r.user(), Created: r.created,
			Came:  fmt.Sprintf("came with %s, version %d of %s, made on %s by %s", chain.On.Name, n, chain.Slug, made.Created.Format("2006-01-02"), made.User.Name),
			Bytes: chain.Bytes(r.who.Copies)}
	})
	if err != nil {
		if ctx.Err() == nil && !errors.Is(err, authority.ErrHoldOff) && !errors.Is(err, errUnsealed) {
			h.fail(err)
			return nil, nil
		}
		return nil, err
	}
	if r.objects.Log().Head(into) == 0 {
		return nil, nil
	}
	return r.objects.Get(ctx, into)
}

// holderOf is the copy on which the next version of an object can be made: the first in
// order that has its newest version and nothing else of it. The one where a late version lies
// is it only where that does not give way.
func (r *round) holderOf(ctx context.Context, slug string, lies *copyRun, stays bool) *copyRun {
	for _, local := range []bool{true, false} {
		for _, c := range r.copies {
			if c == lies && !stays || !c.usable() || !c.Can().HoldsFirst || c.Can().Local != local || c.elsewhere(slug) {
				continue
			}
			if c.holds.Has(slug) != r.objects.Log().Head(slug) && !c.catchUp(ctx) {
				continue
			}
			if !c.stuck(slug) && c.holds.Has(slug) == r.objects.Log().Head(slug) {
				return c
			}
		}
	}
	return nil
}
