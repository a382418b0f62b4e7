package rot

import (
	"context"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/verify"
	"linecamp/verify/history"
)

// name fills in what people call a damaged file.
func (o *object) name(ctx context.Context, r *check, d *verify.Damage) {
	d.Site = o.label(ctx, r)
	if d.Path != "" {
		return
	}
	held, ok := o.newest[d.Digest]
	if !ok {
		d.Path, d.Version = d.Content, verify.VersionOf(d.Content)
		return
	}
	d.Path, d.Version = held.Path, held.Version
	if o.record != nil && o.record.Base != "" && !manifest.Reserved(held.Path) {
		d.Path = o.record.Base + "/" + held.Path
	}
}

// label names the object's site. The record and the names of all digests are
// read when the first of them is needed.
func (o *object) label(ctx context.Context, r *check) string {
	o.nameOnce.Do(func() {
		if o.inv == nil {
			return
		}
		rs := history.Records{Inventory: o.inv, Roots: []store.Root{r.c.Root}}
		o.record, _ = rs.Newest(ctx)
		o.newest = newestPaths(o.inv)
	})
	if o.record == nil {
		return o.slug
	}
	return verify.SiteOf(o.slug, o.record).Name()
}

// newestPaths finds for each digest the newest version that has it, and the
// first path there in byte order; people's paths before reserved ones.
func newestPaths(inv *manifest.Inventory) map[manifest.Digest]manifest.Held {
	out := map[manifest.Digest]manifest.Held{}
	for n := inv.Head(); n > 0; n-- {
		for p, d := range inv.State(n) {
			was, ok := out[d]
			if ok && was.Version > n {
				continue
			}
			if ok && (manifest.Reserved(was.Path) == manifest.Reserved(p) && was.Path < p || !manifest.Reserved(was.Path) && manifest.Reserved(p)) {
				continue
			}
			out[d] = manifest.Held{Digest: d, Version: n, Path: p}
		}
	}
	return out
}
