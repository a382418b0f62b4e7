package sites

import (
	"context"
	"maps"
	"slices"
	"strings"

	"linecamp/manifest"
	"linecamp/verify/history"
)

// remake makes the record of a site anew whose own is lost on every copy, as the
// lost one was made: from the working folder, where the same bytes lie at the
// same path, else from what the records of earlier versions say of those bytes.
// If that gives the lost bytes again, as their digest tells, nothing is lost, and
// mend can have them from the state folder. Else the next version carries what
// was found, and its message says so: a site must not wait for ever for a record
// that nobody has. Of a file of which nothing is known, it gives the size and
// nothing else; a time of zero is read as "not known". Decisions that only the
// lost record held cannot be found again, and a person is told.
func (r *Catalogue) remake(ctx context.Context, slug string, inv *manifest.Inventory) (*Object, error) {
	records := &history.Records{Inventory: inv}
	for _, c := range r.Copies {
		if c.Usable() {
			records.Roots = append(records.Roots, c.Root)
		}
	}
	older, err := records.Newest(ctx)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	state := inv.State(inv.Head())
	rec := &manifest.Record{Paths: map[string]manifest.Entry{}}
	if err == nil {
		rec.Site, rec.Pasture, rec.Base, rec.Decisions = older.Site, older.Pasture, older.Base, older.Decisions
	}
	g := r.shown(slug, rec, state)
	if err != nil && !manifest.Unfiled(slug) {
		rec.Pasture, rec.Site, _ = strings.Cut(slug, "--")
		if rec.Site == "" {
			rec.Pasture, rec.Site = "", slug
		}
		if g != nil {
			rec.Site, rec.Pasture, rec.Base = g.Site, g.Pasture, g.Base
		}
	}
	o := &Object{Slug: slug, Inv: inv, Rec: rec}
	for _, path := range slices.Sorted(maps.Keys(state)) {
		if manifest.Reserved(path) {
			continue
		}
		d := state[path]
		if g != nil && g.Files[path].SHA256 == d {
			rec.Paths[path] = g.Entry(path)
			continue
		}
		e, _, _ := records.Entry(ctx, manifest.Held{Path: path, Digest: d, Version: inv.Head()})
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if e != nil {
			rec.Paths[path] = *e
			continue
		}
		o.Unknown++
		rec.Paths[path] = manifest.Entry{Bytes: r.sizeOf(ctx, slug, inv.Content[d]), Kind: manifest.KindOther}
	}
	DropLoneCompanions(rec)
	if raw := rec.Encode(); manifest.Sum(raw) == state[manifest.RecordPath] {
		o.Raw = raw
	}
	return o, nil
}

// shown is the group of the working folder that a site without a record belongs
// to: the one the record's names lead to, else one whose names make its slug and
// that shows some of its files. It is nil where there is none.
func (r *Catalogue) shown(slug string, rec *manifest.Record, state map[string]manifest.Digest) *Group {
	if r.Tally == nil {
		return nil
	}
	all := Groups(r.Tally)
	if rec.Site != "" || rec.Base != "" {
		g := all[(&Group{Site: rec.Site, Pasture: rec.Pasture, Base: rec.Base}).Key()]
		if g != nil {
			g.Load()
		}
		return g
	}
	free := func(string) bool { return false }
	for _, key := range slices.Sorted(maps.Keys(all)) {
		g := all[key]
		own := manifest.Slug(g.Pasture, g.Site, free)
		if g.Unfiled {
			own = manifest.UnfiledSlug(g.Top, free)
		}
		if number, ok := strings.CutPrefix(slug, own); !ok || strings.Trim(number, "-0123456789") != "" {
			continue
		}
		g.Load()
		for path, f := range g.Files {
			if state[path] == f.SHA256 {
				return g
			}
		}
	}
	return nil
}

// sizeOf is the size of content as the first copy that has it says, 0 where none
// does.
func (r *Catalogue) sizeOf(ctx context.Context, slug string, content []string) int64 {
	for _, c := range r.Copies {
		for _, path := range content {
			if ctx.Err() != nil || !c.Usable() {
				continue
			}
			if info, err := c.Root.Stat(ctx, slug+"/"+path); err == nil {
				return info.Size
			}
		}
	}
	return 0
}

// DropLoneCompanions lets every companion stand alone whose photo the record
// does not have.
func DropLoneCompanions(rec *manifest.Record) {
	for path, e := range rec.Paths {
		if _, ok := rec.Paths[e.With]; e.With != "" && !ok {
			e.With = ""
			rec.Paths[path] = e
		}
	}
}
