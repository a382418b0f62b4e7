package late

import (
	"context"
	"errors"
	"io/fs"
	"maps"
	"slices"

	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/sites"
	"linecamp/daemon/mirror/source"
	"linecamp/manifest"
	"linecamp/manifest/store/fault"
)

// Chain is what a copy has committed of an object, of another history.
type Chain struct {
	Slug string
	Inv  *manifest.Inventory
	From int // its first version that is not the archive's
	On   authority.Copy
}

// Bytes tells the places that may have bytes of the chain: the copy it is on, then any
// other with that history. The copy it is on is asked also where it went out of reach: the
// bytes then wait, and are not taken for lost.
func (c Chain) Bytes(copies []authority.Copy) func(manifest.Digest) []source.Source {
	encoded := c.Inv.Encode()
	its := manifest.Sum(encoded)
	return func(d manifest.Digest) (from []source.Source) {
		if d == its {
			from = append(from, source.Bytes("the other history's manifest", encoded))
		}
		for _, held := range append([]authority.Copy{c.On}, copies...) {
			for _, p := range c.Inv.Content[d] {
				if held.ID == c.On.ID || held.CanRead() {
					from = append(from, source.Held(held, c.Slug+"/"+p, -1))
				}
			}
		}
		return from
	}
}

// Past are the bytes that files of the site had where the object of the chain is closed
// and the site goes on in a further one: all that the archive has on record of the closed
// one, and what versions that counted once had and then no more. None of it was lost, so
// that bringing gives it no name.
func (c Chain) Past(ctx context.Context, objects *sites.Catalogue) (map[manifest.Digest]int, error) {
	log := objects.Log()
	if !log.Closed(c.Slug) {
		return nil, nil
	}
	past := map[manifest.Digest]int{}
	if c.From > 1 {
		o, err := objects.Get(ctx, c.Slug)
		if err != nil {
			return nil, err
		}
		past = o.Inv.Files()
	}
	if log.Dropped(c.Slug, manifest.Sum(c.Inv.Encode())) {
		newest := map[manifest.Digest]bool{}
		for _, d := range c.Inv.State(c.Inv.Head()) {
			newest[d] = true
		}
		for d, n := range c.Inv.Files() {
			if !newest[d] {
				past[d] = n
			}
		}
	}
	return past, nil
}

// Record is the record of version n. Where it rotted, the sizes are all that is known
// of its files, and the names are those of what is on record, nil for nothing.
func (c Chain) Record(ctx context.Context, n int, old *sites.Object) (*manifest.Record, error) {
	o, err := sites.ReadRecord(ctx, c.On.Root, c.Slug, c.Inv.Until(n))
	if err == nil {
		return o.Rec, nil
	}
	if fault.Of(err).OfCopy() || ctx.Err() != nil {
		return nil, err
	}
	rec := &manifest.Record{Paths: map[string]manifest.Entry{}}
	if old != nil {
		rec.Site, rec.Pasture, rec.Base = old.Rec.Site, old.Rec.Pasture, old.Rec.Base
	}
	for p, d := range c.Inv.State(n) {
		if manifest.Reserved(p) {
			continue
		}
		e := manifest.Entry{Kind: manifest.KindOther}
		for _, path := range c.Inv.Content[d] {
			if info, err := c.On.Root.Stat(ctx, c.Slug+"/"+path); err == nil {
				e.Bytes = info.Size
			}
		}
		rec.Paths[p] = e
	}
	return rec, ctx.Err()
}

// OnlyThere is a file that the chain stored and that none of these copies has among the
// content of the object into which it was brought, "" for none. What is not on the chain's own copy either,
// nobody has.
func (c Chain) OnlyThere(ctx context.Context, o *sites.Object, copies []authority.Copy) (string, error) {
	for n := c.From; n <= c.Inv.Head(); n++ {
		for d, path := range c.Inv.ContentOf(n) {
			held := slices.ContainsFunc(copies, func(h authority.Copy) bool {
				return slices.ContainsFunc(o.Inv.Content[d], func(p string) bool {
					_, err := h.Root.Stat(ctx, o.Slug+"/"+p)
					return err == nil
				})
			})
			if held {
				continue
			}
			if _, err := c.On.Root.Stat(ctx, c.Slug+"/"+path); err == nil {
				return path, nil
			} else if !errors.Is(err, fs.ErrNotExist) {
				return "", err
			}
		}
	}
	return "", ctx.Err()
}

// Into is the object into which the chain is brought, and what is on record of it, nil
// for one that bringing makes. It is the same object, unless that is closed, or another
// site's, or the site has a second object already. rec is the chain's newest record; held
// reports whether a copy has anything of an object.
func (c Chain) Into(ctx context.Context, objects *sites.Catalogue, rec *manifest.Record, held func(slug string) bool) (string, *sites.Object, error) {
	log := objects.Log()
	theirs := &sites.Object{Slug: c.Slug, Inv: c.Inv, Rec: rec}
	key := theirs.GroupKey()
	if log.Head(c.Slug) > 0 {
		o, err := objects.Get(ctx, c.Slug)
		if err != nil {
			return "", nil, err
		}
		same := c.From > 1 || o.GroupKey() == key // with a common version it is the same site, renamed or not
		if same && !log.Closed(c.Slug) {
			return c.Slug, o, nil
		}
		if same {
			key = o.GroupKey()
		}
	}
	for _, slug := range slices.Sorted(maps.Keys(log.Index)) {
		if slug == c.Slug || log.Closed(slug) {
			continue
		}
		o, err := objects.Get(ctx, slug)
		if err != nil {
			return "", nil, err
		}
		if log.Closed(c.Slug) && slices.Contains(o.WentOnFrom(), c.Slug) || o.GroupKey() == key {
			return slug, o, nil
		}
	}
	if log.Head(c.Slug) == 0 && !log.Closed(c.Slug) {
		return c.Slug, nil, nil
	}
	taken := func(s string) bool { return log.Head(s) > 0 || log.Closed(s) || held(s) }
	if rec.Site == "" && rec.Base == "" {
		return manifest.UnfiledSlug(theirs.Top(), taken), nil, nil
	}
	return manifest.Slug(rec.Pasture, rec.Site, taken), nil, nil
}
