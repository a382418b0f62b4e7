package mirror

import (
	"context"
	"errors"

	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/lost"
	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/sites"
	"linecamp/manifest"
	"linecamp/manifest/seal"
)

// lose has what no copy has any more count no more, so that its sites go on.
func (r *round) lose(ctx context.Context, first *copyRun) error {
	in := lost.In{Log: r.objects.Log(), Accepted: r.Accept != nil, Machine: r.Machine, Known: func(ctx context.Context, slug string) (bool, error) {
		_, err := r.objects.Get(ctx, slug)
		if errors.Is(err, sites.ErrNoInventory) {
			return false, nil
		}
		return err == nil, err
	}}
	for _, c := range r.copies {
		excused, err := authority.WasExcused(r.Ledger, c.ID)
		if err != nil {
			return err
		}
		in.Copies = append(in.Copies, lost.Copy{Copy: c.forOthers(), Excused: excused, Has: func(slug string) int { return c.loose.Ours(slug, c.holds.Has(slug)) }, Other: c.elsewhere})
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
			c.unblock(v.Slug)
		}
		name := v.Slug
		if o, err := r.objects.Get(ctx, v.Slug); err == nil {
			name = o.Label()
		}
		r.inquire(v.String(name))
	}
	return nil
}

// awaits blocks a version whose manifest nobody has, as long as it counts.
func (c *copyRun) awaits(slug string, line seal.Line) error {
	c.block(slug, plan.ReasonInventory)
	if !c.r.objects.Log().Counts(slug, line) {
		c.unblock(slug)
	}
	return nil
}

// unblock lets slug go on where its newest manifest was what lacked.
func (c *copyRun) unblock(slug string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.blocked[slug] == plan.ReasonInventory {
		delete(c.blocked, slug)
	}
}
