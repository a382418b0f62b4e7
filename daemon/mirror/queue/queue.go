// Package queue says which version a copy takes next, where the settings limit the link
// to it, and what that kept back. Call [Queue.Order] for the order, [Queue.Start] before
// each version and [Queue.May] before each of its files.
//
// The newest visits go first: of all sites' next versions the one with the newest photos.
// A version of a site needs the one before it, so within a site the order stays. What does
// not fit into what the allowance leaves is kept back, with what follows it; other sites
// go on.
package queue

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"

	"linecamp/daemon/link"
	"linecamp/daemon/mirror/sites"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/verify"
)

// Queue is what is to go to one copy. The zero value limits nothing.
type Queue struct {
	Link    *link.Link
	Objects *sites.Catalogue

	mu   sync.Mutex
	kept map[string]bool // slugs of which a version was kept back
	why  string
}

// Order is those of the lines whose versions a copy lacks, in the order in which it is to
// take them. lacks tells whether it lacks a line's version. A site whose inventory is not at
// hand keeps its place in the seal, behind all others.
func (q *Queue) Order(ctx context.Context, lines []seal.Line, lacks func(seal.Line, string) bool) (order []seal.Line, err error) {
	limited := q.Link.IsLimited()
	var slugs []string // in the seal's order
	next := map[string][]seal.Line{}
	for _, l := range lines {
		if l.Inventory.IsZero() {
			continue
		}
		_, slug, err := manifest.ParseObjectID(l.Object)
		switch {
		case err != nil:
			return nil, err
		case !lacks(l, slug):
		case !limited:
			order = append(order, l)
		default:
			if next[slug] == nil {
				slugs = append(slugs, slug)
			}
			next[slug] = append(next[slug], l)
		}
	}
	visits := map[string][]string{}
	for _, slug := range slugs {
		o, err := q.Objects.Get(ctx, slug)
		switch {
		case errors.Is(err, sites.ErrNoInventory):
			visits[slug] = make([]string, len(next[slug]))
		case err != nil:
			return nil, err
		default:
			for _, l := range next[slug] {
				visits[slug] = append(visits[slug], newest(o, l.Version))
			}
		}
	}
	for len(slugs) > 0 {
		best := 0
		for i, slug := range slugs {
			if strings.Compare(visits[slug][0], visits[slugs[best]][0]) > 0 {
				best = i
			}
		}
		slug := slugs[best]
		order = append(order, next[slug][0])
		if next[slug], visits[slug] = next[slug][1:], visits[slug][1:]; len(next[slug]) == 0 {
			slugs = append(slugs[:best], slugs[best+1:]...)
		}
	}
	return order, nil
}

// Bytes is how much the versions of these lines bring, as far as their inventories are at hand.
func (q *Queue) Bytes(ctx context.Context, lines []seal.Line) (sum int64) {
	for _, l := range lines {
		if _, slug, err := manifest.ParseObjectID(l.Object); err != nil {
			continue
		} else if o, err := q.Objects.Get(ctx, slug); err == nil {
			sum += o.BytesOf(o.Inv.ContentOf(l.Version))
		}
	}
	return sum
}

// newest is the newest visit of which a version brought something, "" for none.
func newest(o *sites.Object, version int) (visit string) {
	brought := o.Inv.ContentOf(version)
	for logical, d := range o.Inv.State(version) {
		if _, ok := brought[d]; !ok || manifest.Reserved(logical) {
			continue
		}
		v := o.Rec.Paths[logical].Visit
		if v == "" {
			v = verify.DateIn(logical)
		}
		visit = max(visit, v)
	}
	return visit
}

// Start reports whether a version of a site may be begun. Once one may not, no later one
// of that site is asked for.
func (q *Queue) Start(ctx context.Context, slug string, version int) (bool, error) {
	if !q.Link.IsLimited() {
		return true, nil
	}
	o, err := q.Objects.Get(ctx, slug)
	if errors.Is(err, sites.ErrNoInventory) {
		return true, nil // whoever takes it says so
	}
	if err != nil {
		return false, err
	}
	return q.allowed(slug, q.Link.Begin(fmt.Sprintf("%s v%d", slug, version), o.BytesOf(o.Inv.ContentOf(version))))
}

// New is Start for a version that is only being made, of so many bytes. It comes after
// those of its site that were kept back.
func (q *Queue) New(slug string, bytes int64) (bool, error) {
	if q.Has(slug) {
		return false, nil
	}
	return q.allowed(slug, q.Link.Begin(slug, bytes))
}

// May reports whether a version that was begun may go on with its next file.
func (q *Queue) May(slug string) (bool, error) { return q.allowed(slug, q.Link.May()) }

func (q *Queue) allowed(slug string, err error) (bool, error) {
	if errors.Is(err, link.ErrHeld) {
		q.Keep(slug, err)
		return false, nil
	}
	return err == nil, err
}

// Keep notes that the link held up a site.
func (q *Queue) Keep(slug string, why error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.kept == nil {
		q.kept = map[string]bool{}
	}
	q.kept[slug] = true
	q.why = why.Error()
	if i := strings.Index(q.why, link.ErrHeld.Error()); i > 0 {
		q.why = q.why[i:] // without what was being done
	}
}

// Has reports whether something of a site was kept back.
func (q *Queue) Has(slug string) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.kept[slug]
}

// Why is what kept something back, "" where nothing was.
func (q *Queue) Why() string {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.why
}
