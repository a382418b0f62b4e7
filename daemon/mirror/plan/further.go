package plan

import (
	"context"
	"errors"
	"maps"
	"slices"

	"linecamp/daemon/mirror/sites"
	"linecamp/manifest"
)

// Where two histories of a site lie in buckets, the seal closes its object, and the site
// goes on in a further one: as a new site, from what the working folder shows. What says
// so is a decision in the record of the further one, [manifest.Joined] with the closed
// one's slug. An object from which another goes on already is compared with nothing.

// ended are the closed objects that their sites do not go on from yet, of those that
// have a version which counts. It is nil where one of them cannot be read.
func (p *planner) ended(ctx context.Context, joined map[string]bool) ([]string, error) {
	log := p.r.Sites.Log()
	var unknown []string
	ended := []string{}
	for _, slug := range slices.Sorted(maps.Keys(log.AllClosed())) {
		if log.Head(slug) == 0 {
			continue
		}
		o, err := p.r.Sites.Get(ctx, slug)
		if errors.Is(err, sites.ErrNoInventory) {
			unknown = append(unknown, slug)
			continue
		}
		if err != nil {
			return nil, err
		}
		for _, before := range o.WentOnFrom() {
			joined[before] = true
		}
		ended = append(ended, slug)
	}
	isJoined := func(slug string) bool { return joined[slug] }
	if unknown = slices.DeleteFunc(unknown, isJoined); len(unknown) > 0 {
		for _, slug := range unknown {
			p.r.Wait(slug, ReasonInventory, true)
		}
		return nil, nil
	}
	ended = slices.DeleteFunc(ended, isJoined)
	for _, slug := range ended {
		o, err := p.r.Sites.Get(ctx, slug)
		if err != nil {
			return nil, err
		}
		p.ends[o.GroupKey()] = slug
	}
	return ended, nil
}

// open leaves the objects that are not closed.
func (p *planner) open(slugs []string) []string {
	return slices.DeleteFunc(slices.Clone(slugs), p.r.Sites.Log().Closed)
}

// before is the closed object that a new group goes on from: the one of its folder, else
// the only one that had most of its bytes; nil for none.
func (p *planner) before(ctx context.Context, g *sites.Group, fits []string) (*sites.Object, error) {
	slug, ok := p.ends[g.Key()]
	if !ok && len(fits) == 1 && p.r.Sites.Log().Closed(fits[0]) {
		slug, ok = fits[0], true
	}
	if !ok {
		return nil, nil
	}
	return p.r.Sites.Get(ctx, slug)
}

// goOn has a new site's first version say which closed object it goes on from. Files that
// stand where they stood are judged by what that one recorded of them.
func (p *planner) goOn(c *change, before *sites.Object) {
	c.from = before.Slug
	c.Said = append(c.Said, p.r.Sites.GoesOnFrom(before.Slug))
	for _, s := range p.said {
		if s.Object == before.Slug && !Recorded(before.Rec.Decisions, s.Decision) {
			c.Said = append(c.Said, s.Decision)
		}
	}
	was := &change{Slug: before.Slug, Old: before}
	for logical, d := range before.Inv.State(before.Head()) {
		if e, ok := before.Rec.Paths[logical]; ok {
			p.left[manifest.RawPath(before.Rec.Base, logical, e)] = left{was, logical, e, d}
		}
	}
}
