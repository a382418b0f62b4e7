// Package gather brings together what the years and findings are judged by. Call
// [Sites] with what the working folder holds, what the manifests remember and what the
// copies hold: it returns an [Input], which is plain data. Then [Input.Declare] adds
// what people's cards say, and [Input.Join] makes one site of those that a person said
// are one stake.
package gather

import (
	"iter"
	"path"
	"slices"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/tally"
	"linecamp/manifest/within"
	"linecamp/verify"
)

// Object is the newest manifest of an object, for [Sites].
type Object struct {
	// Slug is needed where Inventory is nil: each file that a version had is known to be
	// in the working folder, at its path, and only the record's names and decisions count.
	Slug      string
	Inventory *manifest.Inventory
	Record    *manifest.Record // of the newest version; may be nil
	// RecordOf reads the record of an earlier version; may be nil. It is only
	// asked for versions that had files which are no longer in the newest.
	RecordOf func(version int) (*manifest.Record, error)
}

// Holding is what one copy is known to hold: from a check just done, or from
// the last one remembered.
type Holding struct {
	Heads  map[string]int // newest committed version by object
	Damage []verify.Damage
	// Unknown is a copy that could not be asked: nothing is called lost that
	// might be there.
	Unknown bool
}

// Sites makes the years' input from a tally of the working folder (nil where
// this machine only keeps the archive), the newest manifests, and what the
// copies hold. Bytes that are anywhere in the working folder are not missing: a
// file moved to another site counts there only.
func Sites(now time.Time, t *tally.Result, objects iter.Seq[Object], holdings []Holding) Input {
	g := &gatherer{loose: map[looseKey]bool{}, sites: map[siteKey]*SiteItems{}, holdings: holdings}
	g.damage = make([]map[[2]string]bool, len(holdings))
	for i, h := range holdings {
		g.damage[i] = map[[2]string]bool{}
		for _, d := range h.Damage {
			if d.Kind != verify.Stray {
				g.damage[i][[2]string{d.Object, d.Content}] = true
			}
		}
	}
	if t != nil {
		g.tally(t)
	}
	var shared []sharedNote
	for o := range objects {
		shared = append(shared, g.object(o, t != nil)...)
	}
	g.share(shared)
	in := Input{Now: now, Unfiled: g.unfiled}
	if t != nil {
		in.Doubles = t.Doubles()
	}
	for _, k := range g.order {
		in.Sites = append(in.Sites, *g.sites[k])
	}
	return in
}

type siteKey struct{ pasture, site string }

type looseKey struct {
	siteKey
	manifest.Digest
}

type gatherer struct {
	here     set               // digests in the working folder
	loose    map[looseKey]bool // of its photos that lie with a site and are of no visit
	paths    set               // paths in the working folder, once hasPath was asked
	folder   *tally.Result     // the working folder; nil for none
	waiting  map[string]bool   // paths there that are not recorded yet
	unlisted []string
	sites    map[siteKey]*SiteItems
	unfiled  SiteItems
	order    []siteKey
	holdings []Holding
	damage   []map[[2]string]bool // by copy: object and content path
}

func (g *gatherer) site(k siteKey) *SiteItems {
	s := g.sites[k]
	if s == nil {
		s = &SiteItems{Site: k.site, Pasture: k.pasture}
		g.sites[k] = s
		g.order = append(g.order, k)
	}
	return s
}

// tally takes in what the working folder holds.
func (g *gatherer) tally(t *tally.Result) {
	g.folder, g.unlisted = t, t.Unlisted
	pack := func(s *SiteItems, p packed) {
		if p.files.Len() > 0 {
			s.packed = append(s.packed, p)
		}
	}
	for i := range t.Sites {
		ts := &t.Sites[i]
		k := siteKey{ts.Pasture, ts.Site}
		s := g.site(k)
		for _, v := range ts.Visits {
			for _, files := range []tally.Files{v.Photos, v.Notes, v.Others} {
				pack(s, packed{files: files})
			}
		}
		pack(s, packed{files: ts.Loose})
		for _, v := range ts.Visits {
			pack(s, packed{files: v.Shared, shared: true, visit: v.Date})
		}
	}
	pack(&g.unfiled, packed{files: t.Unfiled})
	// What waits is there, whatever it turns out to be.
	g.waiting = map[string]bool{}
	for _, w := range t.Waiting {
		g.waiting[w.Path] = true
	}
}

// look takes down which bytes are in the working folder. Where no manifest was read
// nobody asks.
func (g *gatherer) look() {
	if g.folder == nil || g.here != nil {
		return
	}
	for i := range g.folder.Sites {
		s := &g.folder.Sites[i]
		for f := range s.Files() {
			g.here = append(g.here, brief(f.SHA256))
			if f.Visit == "" && f.Kind == manifest.KindPhoto {
				g.loose[looseKey{siteKey{s.Pasture, s.Site}, f.SHA256}] = true
			}
		}
	}
	for f := range g.folder.Unfiled.All() {
		g.here = append(g.here, brief(f.SHA256))
	}
	g.here.sort()
}

// hasPath reports whether a path is in the working folder. Where all bytes are there
// nobody asks.
func (g *gatherer) hasPath(raw string) bool {
	if g.folder != nil && g.paths == nil {
		g.paths = make(set, 0, len(g.here))
		for i := range g.folder.Sites {
			for f := range g.folder.Sites[i].Files() {
				g.paths = append(g.paths, named(f.Path))
			}
		}
		for f := range g.folder.Unfiled.All() {
			g.paths = append(g.paths, named(f.Path))
		}
		g.paths.sort()
	}
	return g.paths.has(named(raw))
}

// sharedNote is a note of no site that is no longer in the working folder.
type sharedNote struct {
	folder string // the sites below it are served
	item   Item
}

// object takes in what an object's history holds and the working folder does
// not.
func (g *gatherer) object(o Object, tallied bool) (shared []sharedNote) {
	inv, slug := o.Inventory, o.Slug
	if inv != nil {
		slug = inv.Slug()
	}
	unfiled := manifest.Unfiled(slug)
	rec := o.Record
	if rec == nil && o.RecordOf != nil {
		for n := inv.Head(); n > 0 && rec == nil; n-- {
			rec, _ = o.RecordOf(n)
		}
	}
	if rec == nil {
		rec = &manifest.Record{Site: slug}
	}
	var s *SiteItems
	if !unfiled {
		s = g.site(siteKey{rec.Pasture, rec.Site})
		if !slices.Contains(verify.JoinedIn(&manifest.Record{Decisions: s.Decisions}), slug) { // one that goes on in another keeps its names
			s.Object = slug
		}
		s.Decisions = append(s.Decisions, rec.Decisions...)
	} else {
		g.unfiled.Decisions = append(g.unfiled.Decisions, rec.Decisions...)
	}
	if inv == nil {
		return nil
	}
	g.look()
	for logical, held := range inv.FullHistory() {
		from := rec
		if held.Version != inv.Head() && o.RecordOf != nil {
			if r, err := o.RecordOf(held.Version); err == nil && r != nil {
				from = r
			}
		} else if held.Version == inv.Head() && o.Record != nil {
			from = o.Record
		}
		e, known := from.Paths[logical]
		if !known {
			e = manifest.Entry{Visit: verify.DateIn(logical), Kind: manifest.KindOther}
		}
		raw := verify.WorkingPath(from, logical)
		unsure := g.waiting[raw] || g.hidden(raw)
		if tallied && !unsure && (g.here.has(brief(held.Digest)) || g.hasPath(raw)) {
			// Moved where no name tells a date, a photo is of the visit it was recorded under.
			if s != nil && e.Visit != "" && len(g.loose) > 0 && g.loose[looseKey{siteKey{rec.Pasture, rec.Site}, held.Digest}] && !g.hasPath(raw) {
				s.Extra = append(s.Extra, Item{Path: raw, View: e.View, Kind: e.Kind, Visit: e.Visit, Where: InWorking})
			}
			continue
		}
		it := Item{Path: raw, View: e.View, Kind: e.Kind, Visit: e.Visit, Where: InWorking}
		if tallied && !unsure {
			it.Where = g.where(inv, held)
		} else if !tallied && g.where(inv, held) == Nowhere {
			it.Where = Nowhere
		}
		if s != nil {
			s.Extra = append(s.Extra, it)
		} else if e.Kind == manifest.KindNote && e.Visit != "" {
			shared = append(shared, sharedNote{path.Dir(raw), it})
		}
	}
	return shared
}

// hidden reports whether a path lies in a folder that could not be listed: that
// it was not seen proves nothing.
func (g *gatherer) hidden(raw string) bool {
	for _, u := range g.unlisted {
		if within.Path(raw, u) {
			return true
		}
	}
	return false
}

// where finds out whether any copy has good bytes of a digest.
func (g *gatherer) where(inv *manifest.Inventory, held manifest.Held) Where {
	slug := inv.Slug()
	for i, h := range g.holdings {
		if h.Unknown {
			return OnCopy
		}
		for _, p := range inv.Content[held.Digest] {
			if n := verify.VersionOf(p); n <= h.Heads[slug] && !g.damage[i][[2]string{slug, p}] {
				return OnCopy
			}
		}
	}
	return Nowhere
}

// share gives a note of a pasture's or year's folder that is no longer there to
// the sites it served: those with files below its folder in the same year.
func (g *gatherer) share(notes []sharedNote) {
	for _, n := range notes {
		year, ok := verify.YearOf(n.item.Visit)
		if !ok {
			continue
		}
		for _, s := range g.sites {
			for _, it := range s.List() {
				if y, ok := verify.YearOf(it.Visit); !ok || y != year || it.Kind != manifest.KindPhoto {
					continue
				}
				if n.folder == "." || within.Below(it.Path, n.folder) {
					s.Extra = append(s.Extra, n.item)
					break
				}
			}
		}
	}
}
