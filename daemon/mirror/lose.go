package mirror

import (
	"context"
	"errors"
	"slices"

	"linecamp/daemon/authority"
	"linecamp/daemon/authority/marks"
	"linecamp/daemon/mirror/lost"
	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/sites"
	"linecamp/manifest"
	"linecamp/manifest/seal"
)

// lose has what no copy has any more count no more, so that its sites go on.
func (r *round) lose(ctx context.Context, first *copyRun) error {
	in := lost.In{Log: r.objects.Log(), Accepted: r.Accept != nil, Machine: r.Machine, Takes: func(ctx context.Context, slug string) (bool, error) {
		_, err := r.objects.Get(ctx, slug)
		if errors.Is(err, sites.ErrNoInventory) || err == nil && first.blocked.Awaits(slug) {
			return false, nil
		} else if err != nil {
			return false, err
		}
		// A bucket with another history's versions takes it: in a further object.
		return r.holderOf(ctx, slug, nil, false) != nil || slices.ContainsFunc(r.copies, func(c *copyRun) bool {
			return c.usable() && !c.blocked.Awaits(slug) && !(c.elsewhere(slug) && c.Can().GivesWay)
		}), ctx.Err()
	}}
	for _, c := range r.copies {
		lines, excused, err := authority.WasExcused(r.Ledger, c.ID)
		if err != nil {
			return err
		}
		in.Copies = append(in.Copies, lost.Copy{Copy: c.forOthers(), Excused: excused, Lines: lines, Has: func(slug string) int { return c.loose.Ours(slug, c.holds.Has(slug)) }, Other: c.elsewhere})
	}
	all, err := lost.Find(ctx, in)
	if err != nil {
		return err
	}
	for _, v := range all {
		if err := r.who.Begin(ctx); err != nil {
			return err
		}
		line := seal.Line{At: r.created, What: seal.Lost, Object: manifest.ObjectID(r.Archive, v.Slug), Version: v.From, Why: v.Why}
		if err := first.write(ctx, line); err != nil {
			return err
		}
		for _, c := range r.copies {
			c.blocked.Release(v.Slug)
		}
		first.turn.Lock()
		first.next = 0 // a version before the lost ones may be taken after all
		first.turn.Unlock()
		name := v.Slug
		if o, err := r.objects.Get(ctx, v.Slug); err == nil {
			name = o.Label()
		}
		r.inquire(v.String(name))
	}
	return nil
}

// awaits blocks an object where only a copy out of reach may have the manifest or bytes of
// a version, as long as that counts. What is in a bucket of it by then, the version that may
// take its number must name.
func (c *copyRun) awaits(slug string, line seal.Line, why string) error {
	c.blocked.Await(slug, why)
	if !c.r.objects.Log().Counts(slug, line) {
		c.blocked.Release(slug)
	}
	if c.Can().Staged || why == plan.ReasonInventory {
		return nil
	}
	return c.r.begun.Add(marks.Mark{Copy: c.ID, Slug: slug, N: line.Version})
}
