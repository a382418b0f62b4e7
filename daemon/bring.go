package daemon

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"linecamp/daemon/reach"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/verify"
	"linecamp/verify/history"
	"linecamp/verify/restore"
)

// History tells a site's visits and versions, from the nearest copy that has
// the site, or from the one named.
func (a *Archive) History(ctx context.Context, site, from string) (HistoryReport, error) {
	r, err := a.sources(ctx, from)
	if err != nil {
		return HistoryReport{}, err
	}
	defer r.Close()
	h, err := historyOf(ctx, a.ours(ctx, r.Nearest()), site)
	if err == nil {
		h.Archive = a.Config.Name
	}
	return h, err
}

// Restore brings a site, or everything, back from the copies, the nearest
// first; where one has bad bytes, from the next. With From, only from that one.
func (a *Archive) Restore(ctx context.Context, o RestoreOptions, p Progress) (RestoreReport, error) {
	r, err := a.sources(ctx, o.From)
	if err != nil {
		return RestoreReport{}, err
	}
	defer r.Close()
	var log *seal.Seal
	if o.From == "" {
		log, _ = a.Cache.Seal() // without it, the copies' own seals tell
	}
	return restoreFrom(ctx, a.Config.Name, log, r.Nearest(), o, p)
}

// ours leaves out copies that tell another history than this machine's seal, as
// long as another is in reach.
func (a *Archive) ours(ctx context.Context, from []*reach.Copy) []*reach.Copy {
	log, err := a.Cache.Seal()
	if err != nil || len(from) < 2 {
		return from
	}
	left := slices.DeleteFunc(slices.Clone(from), func(h *reach.Copy) bool {
		s, err := store.ReadSeal(ctx, h.Root)
		return err == nil && s.Against(log) >= seal.Rotten
	})
	if len(left) == 0 {
		return from
	}
	return left
}

// sources opens the copies to read from.
func (a *Archive) sources(ctx context.Context, from string) (*reach.Copies, error) {
	copies, err := a.Opener().Pick(from)
	if err != nil {
		return nil, err
	}
	o := a.Opener()
	o.Freely = true
	r, err := o.Open(ctx, copies, reach.Patient)
	if err != nil {
		return nil, err
	}
	if len(r.Open()) == 0 {
		r.Close()
		return nil, r.None()
	}
	return r, nil
}

// site finds the one site a person means among all that the copies hold. A
// copy that cannot list its sites is passed over, if another can.
func site(ctx context.Context, from []*reach.Copy, name string) (verify.Site, error) {
	var all []verify.Site
	var trouble error
	for _, h := range from {
		sites, err := history.Sites(ctx, h.Root)
		if ctx.Err() != nil {
			return verify.Site{}, ctx.Err()
		}
		if err != nil && trouble == nil {
			trouble = fmt.Errorf("%s: %w", h.Name, err)
		}
		for _, s := range sites {
			if !slices.ContainsFunc(all, func(o verify.Site) bool { return o.Object == s.Object }) {
				all = append(all, s)
			}
		}
	}
	s, err := history.Find(all, name)
	if errors.Is(err, history.ErrNoSite) && trouble != nil {
		return s, trouble
	}
	return s, err
}

func historyOf(ctx context.Context, from []*reach.Copy, name string) (HistoryReport, error) {
	s, err := site(ctx, from, name)
	if err != nil {
		return HistoryReport{}, err
	}
	// The copy that has most of it tells it; of several, the nearest.
	heads := map[*reach.Copy]int{}
	for _, h := range from {
		inv, err := store.Head(ctx, h.Root, s.Object)
		if ctx.Err() != nil {
			return HistoryReport{}, ctx.Err()
		}
		if err == nil {
			heads[h] = inv.Head()
		}
	}
	from = slices.Clone(from)
	slices.SortStableFunc(from, func(a, b *reach.Copy) int { return heads[b] - heads[a] })
	var trouble error
	for _, h := range from {
		got, err := history.Of(ctx, h.Root, s)
		if err == nil || ctx.Err() != nil {
			return got, err
		}
		trouble = errors.Join(trouble, fmt.Errorf("%s: %w", h.Name, err))
	}
	return HistoryReport{}, trouble
}

func restoreFrom(ctx context.Context, archive string, log *seal.Seal, from []*reach.Copy, o RestoreOptions, p Progress) (RestoreReport, error) {
	ro := restore.Options{
		Archive: archive, Seal: log, Everything: o.Everything, Into: o.Into, Year: o.Year, On: o.On, EveryVersion: o.EveryVersion,
		Progress: func(done, total int64) { p.Tell("restore", done, total) },
	}
	if !o.Everything {
		s, err := site(ctx, from, o.Site)
		if err != nil {
			return RestoreReport{}, err
		}
		ro.Sites = []verify.Site{s}
	}
	var sources []restore.Source
	for _, h := range from {
		sources = append(sources, restore.Source{Name: h.Name, Root: h.Root})
	}
	return restore.Run(ctx, sources, ro)
}
