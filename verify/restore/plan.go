package restore

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/verify"
	"linecamp/verify/history"
)

// item is one file to be delivered.
type item struct {
	object   string
	contents []string // content paths that hold the bytes
	digest   manifest.Digest
	size     int64     // as the record says; 0 where it is lost
	modified time.Time // zero where the record is lost
	dest     string    // raw path below the target
	show     string    // the same for people
}

// planner finds out which files there are.
type planner struct {
	*delivery
	wish   wish
	seal   *seal.Seal
	sealed map[sealedVersion]manifest.Digest
	left   map[leftOut]bool // moved to another site
	known  map[string]*looked
	paths  int // of objects that were looked at

	closed map[string]bool // by slug: not gone on with
	part   map[string]bool // by slug: brought with the object that it goes on in

	everything bool
	listed     map[string]bool // object ids whose missing versions are told
}

// part is one part of what is restored: objects, and which visits of them.
type part struct {
	objects []string
	visits  visits
	last    bool // nothing comes after it
}

type visits int

const (
	allVisits visits = iota
	newestVisit
	otherVisits
)

// begin reads what all objects are judged by, and says in which parts they come.
func (p *planner) begin(ctx context.Context, o Options) ([]part, error) {
	objects, err := p.objects(ctx, o)
	if err != nil {
		return nil, err
	}
	p.everything = o.Everything
	var serr error
	if p.seal, serr = p.sources.seal(ctx, o.Seal); p.seal == nil {
		p.note("the seal could not be read, so versions that only another copy has cannot be named: " + oneLine(serr))
	}
	p.sealed, p.part = map[sealedVersion]manifest.Digest{}, map[string]bool{}
	if p.seal != nil {
		p.closed = verify.ClosedBy(p.seal)
		slices.SortStableFunc(objects, func(a, b string) int { return p.last(a) - p.last(b) })
		for id, versions := range verify.SealedBy(p.seal) {
			for n, inventory := range versions {
				p.sealed[sealedVersion{id, n}] = inventory
			}
		}
	}
	p.listed, p.known = map[string]bool{}, map[string]*looked{}
	if !o.Newest || !o.Everything {
		if o.Everything && p.wish.on.IsZero() {
			if p.left, err = p.movedAway(ctx, objects); err != nil {
				return nil, err
			}
		}
		return []part{{objects, allVisits, true}}, nil
	}
	var first, rest []string
	for _, slug := range objects {
		if slices.Contains(o.First, slug) {
			first = append(first, slug)
		} else {
			rest = append(rest, slug)
		}
	}
	parts := []part{{first, allVisits, false}, {rest, newestVisit, false}, {rest, otherVisits, true}}
	if len(first) == 0 {
		parts = parts[1:]
	}
	return parts, nil
}

// run plans one part object by object and posts each file; it stops when post does.
func (p *planner) run(ctx context.Context, part part, post func(item) bool) error {
	for _, slug := range part.objects {
		if p.part[slug] {
			continue
		}
		if err := p.object(ctx, slug, part.visits, nil, post); err != nil {
			return err
		}
	}
	if part.last && p.everything {
		p.missingObjects()
	}
	return nil
}

// looked is what was found out about an object that is planned more than once.
type looked struct {
	rs  *history.Records
	why error
}

// mostKnown is how many paths are kept in mind between two parts.
const mostKnown = 200_000

// look is newest, remembered for the part that comes after this one.
func (p *planner) look(ctx context.Context, slug string, again bool) (*history.Records, error) {
	if l, ok := p.known[slug]; ok {
		delete(p.known, slug)
		return l.rs, l.why
	}
	inv, roots, why := p.newest(ctx, slug)
	if inv == nil {
		return nil, why
	}
	l := &looked{rs: &history.Records{Inventory: inv, Roots: roots}, why: why}
	if p.paths += len(inv.Content); again && p.paths <= mostKnown {
		p.known[slug] = l
	}
	return l.rs, why
}

// sealedVersion is one version of an object, by its id.
type sealedVersion struct {
	id string
	n  int
}

// newest returns the newest inventory any source has of an object, and the
// sources that have one, in order. It is nil where none has one. Where sources
// hold two histories, the sealed one counts, if one of them has it.
func (p *planner) newest(ctx context.Context, slug string) (best *manifest.Inventory, roots []store.Root, first error) {
	var all []*manifest.Inventory
	for _, s := range p.sources.all {
		if s.gone.Load() {
			continue
		}
		inv, err := store.Head(ctx, s.Root, slug)
		if ctx.Err() != nil {
			return nil, nil, context.Cause(ctx)
		}
		if err != nil {
			if first == nil || errors.Is(first, store.ErrNoObject) {
				first = err // what cannot be read may be there
			}
			if !errors.Is(err, store.ErrNoObject) {
				s.suspect(ctx, err)
			}
			continue
		}
		roots = append(roots, s.Root)
		all = append(all, inv)
	}
	if len(all) == 0 {
		return nil, nil, first
	}
	slices.SortStableFunc(all, func(a, b *manifest.Inventory) int { return b.Head() - a.Head() })
	for _, inv := range all {
		if parted, _ := p.parted(inv); len(all) > 1 && !parted {
			return inv, roots, nil
		}
	}
	return all[0], roots, nil
}

// wanted is one path of the history with what it is to be called.
type wanted struct {
	held manifest.Held
	path string // logical, as delivered; older bytes get their version's number
	old  bool
}

// object posts the files of an object. later is the one that goes on from it, nil for none:
// then only what that one lacks is posted.
func (p *planner) object(ctx context.Context, slug string, which visits, later *further, post func(item) bool) error {
	rs, why := p.look(ctx, slug, which == newestVisit)
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	tell := which != newestVisit // once
	if rs == nil {
		if !tell {
			return nil
		}
		return p.unread(ctx, slug, why)
	}
	if later != nil {
		if rs = p.upToClosing(rs); rs == nil {
			return nil
		}
	}
	inv := rs.Inventory
	version := inv.Head()
	if !p.wish.on.IsZero() {
		version = inv.AsOf(p.wish.on)
	}
	rec, err := p.record(ctx, rs, version)
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	base, site := slug, slug
	if rec != nil {
		base, site = rec.Base, verify.SiteOf(slug, rec).Name()
	} else if version > 0 && tell {
		p.note(fmt.Sprintf("%s: its record is lost on every copy in reach, so its files are put into a folder of that name and their times are not known: %s", slug, oneLine(err)))
	}
	if tell {
		p.missing(inv, site)
		if !p.closed[slug] {
			p.unsealed(inv, version, site)
		}
	}

	files := p.files(inv, version)
	taken := map[string]bool{}
	if later != nil {
		files, taken = later.lacks(files, p.wish.every), later.taken
		if later.there {
			base = later.base
		}
	}
	if which != allVisits {
		files = p.ofVisits(ctx, rs, files, which)
	}
	slices.SortFunc(files, func(a, b wanted) int { return strings.Compare(a.path, b.path) })
	for _, f := range files {
		if !f.old {
			taken[strings.ToLower(f.path)] = true
		}
	}
	for _, f := range files {
		it, ok := p.item(ctx, rs, f, base, taken)
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		if ok && !post(it) {
			return context.Cause(ctx)
		}
	}
	if len(p.closed) == 0 {
		return nil
	}
	return p.before(ctx, rs, which, later.on(inv, version, base, taken), post)
}

// ofVisits leaves the files of the newest visit, or all others.
func (p *planner) ofVisits(ctx context.Context, rs *history.Records, files []wanted, which visits) []wanted {
	of := make(map[string]string, len(files))
	newest := ""
	for _, f := range files {
		e, _, _ := rs.Entry(ctx, f.held)
		visit := verify.DateIn(f.path)
		if e != nil {
			visit = e.Visit
		}
		of[f.path] = visit
		newest = max(newest, visit)
	}
	return slices.DeleteFunc(files, func(f wanted) bool {
		return (newest != "" && of[f.path] == newest) != (which == newestVisit)
	})
}

// record is the record whose base everything is restored below: that of the
// state asked for, else the newest that can be read.
func (p *planner) record(ctx context.Context, rs *history.Records, version int) (*manifest.Record, error) {
	if version < 1 {
		return nil, history.ErrNoRecord
	}
	if rec, err := rs.Of(ctx, version); err == nil {
		return rec, nil
	}
	return rs.Newest(ctx)
}

// files is what the wish comes to in one object.
func (p *planner) files(inv *manifest.Inventory, version int) []wanted {
	var out []wanted
	if p.wish.state() {
		for path, d := range inv.State(version) {
			if !manifest.Reserved(path) {
				out = append(out, wanted{held: manifest.Held{Digest: d, Version: version, Path: path}, path: path})
			}
		}
		return out
	}
	for path, list := range inv.EveryVersion() {
		for i, h := range list {
			if newest := i == len(list)-1; newest || p.wish.every {
				if newest && p.left[leftOut{inv.ID, path}] {
					continue
				}
				out = append(out, wanted{held: h, path: path, old: !newest})
			}
		}
	}
	return out
}

// item turns a path into a file to be delivered; ok is false where it is not
// wanted or cannot be.
func (p *planner) item(ctx context.Context, rs *history.Records, f wanted, base string, taken map[string]bool) (it item, ok bool) {
	e, _, _ := rs.Entry(ctx, f.held)
	if ctx.Err() != nil {
		return item{}, false
	}
	visit := verify.DateIn(f.held.Path)
	if e != nil {
		visit = e.Visit
	}
	if p.wish.year != "" && !strings.HasPrefix(visit, p.wish.year) {
		return item{}, false
	}
	raw, show := f.path, f.path
	if e != nil && len(e.Raw) > 0 && f.held.Path == f.path && rawNames {
		raw = string(e.Raw)
	} else if f.held.Path != f.path {
		raw = p.rawOf(ctx, rs, f.path)
	}
	if f.old {
		raw = versioned(raw, f.held.Version, taken)
		show = versioned(show, f.held.Version, nil)
	}
	dest := join(base, raw)
	show = join(base, show)
	if p.wish.leave != nil {
		kind := manifest.Kind("")
		if e != nil {
			kind = e.Kind
		}
		if p.wish.leave(show, kind) {
			return item{}, false
		}
	}
	if why := refuse(dest, raw); why != "" && !(why == reserved && base == "" && persons(raw, f.path)) {
		p.fail(show, why)
		return item{}, false
	}
	it = item{object: rs.Inventory.Slug(), contents: rs.Inventory.Content[f.held.Digest], digest: f.held.Digest, dest: dest, show: show}
	if e == nil {
		return it, true // delivered, and named as not quite restored
	}
	it.size, it.modified = e.Bytes, e.Modified
	return it, true
}

// rawOf is the raw name that the newest bytes of a path have.
func (p *planner) rawOf(ctx context.Context, rs *history.Records, logical string) string {
	for n := rs.Inventory.Head(); n > 0 && rawNames; n-- {
		if _, ok := rs.Inventory.State(n)[logical]; !ok {
			continue
		}
		rec, err := rs.Of(ctx, n)
		if err != nil {
			continue
		}
		if e := rec.Paths[logical]; len(e.Raw) > 0 {
			return string(e.Raw)
		}
		break
	}
	return logical
}

// missing names the versions of an object that the seal has and no source.
func (p *planner) missing(inv *manifest.Inventory, site string) {
	p.listed[inv.ID] = true
	if p.seal == nil {
		return
	}
	for l := range p.seal.All() {
		if p.counts(l) && l.Object == inv.ID && l.Version > inv.Head() && !p.later(l.At) {
			p.addMissing(Missing{Object: inv.Slug(), Site: site, Version: l.Version, Created: l.At})
		}
	}
}

// missingObjects names those of objects that no source has at all.
func (p *planner) missingObjects() {
	if p.seal == nil {
		return
	}
	for l := range p.seal.All() {
		if !p.counts(l) || p.listed[l.Object] || p.later(l.At) {
			continue
		}
		if _, slug, err := manifest.ParseObjectID(l.Object); err == nil {
			p.addMissing(Missing{Object: slug, Site: slug, Version: l.Version, Created: l.At})
		}
	}
}

// counts reports whether a line names a version that counts.
func (p *planner) counts(l seal.Line) bool {
	return l.What == seal.Version && p.sealed[sealedVersion{l.Object, l.Version}] == l.Inventory
}

// later reports whether a version is after the state asked for.
func (p *planner) later(at time.Time) bool { return !p.wish.on.IsZero() && at.After(p.wish.on) }
