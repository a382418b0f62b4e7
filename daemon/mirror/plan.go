package mirror

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"iter"
	"maps"
	"slices"
	"strings"

	"linecamp/daemon/ledger"
	"linecamp/manifest"
	"linecamp/manifest/tally"
)

// versionBytes is how much new content one version carries; a single larger
// file excepted. Small versions let a slow copy hold whole visits soon.
//
// Every version's inventory repeats the whole state, so a site of many gigabytes
// cut into pieces of one size would write more inventories than photos. Once a
// site holds versionShare times as much, a version may carry that share of it:
// the number of versions then grows with the logarithm of the size.
const (
	versionBytes = 64 << 20
	versionShare = 8
)

// change is the difference between what an object last recorded and what the
// working folder shows of it.
type change struct {
	slug    string
	old     *object // nil for a site not recorded before
	group   *group
	gone    []string            // logical paths whose folder was listed without them
	altered []string            // logical paths with other bytes than recorded
	known   []string            // new paths whose bytes the object has already
	fresh   pathList            // new or altered paths whose bytes are to be stored
	size    int64               // of fresh, in bytes
	renamed bool                // the names or the folder of the site changed
	stays   bool                // they did, and the old ones stay on record for now
	said    []manifest.Decision // what people decided since, for the record
}

func (c *change) empty() bool {
	return len(c.gone)+len(c.known)+c.fresh.len()+len(c.said) == 0 && !c.renamed && !c.old.remade()
}

// step is one version to be made.
type step struct {
	*change
	first  bool     // the step that also records what went, moved or was renamed
	paths  pathList // fresh paths whose bytes this version stores
	size   int64    // of these, in bytes
	newest string   // the newest visit among them
}

// plan compares the tally with what is recorded and says which versions to
// make: newest visits of all sites first, files without a site last.
func (r *round) plan(ctx context.Context) ([]step, error) {
	said, err := r.Ledger.Said()
	if err != nil {
		return nil, fmt.Errorf("the ledger: %w", err)
	}
	p := &planner{r: r, groups: groups(r.Tally), uncertain: uncertainPaths(r.Tally), left: map[string]left{}, said: said}
	if err := p.match(ctx); err != nil {
		return nil, err
	}
	p.halves = p.newHalves()
	if err := p.regrouped(); err != nil {
		return nil, err
	}
	if err := p.guard(ctx); err != nil {
		return nil, err
	}
	p.keepHalves()
	var steps []step
	for _, c := range p.changes {
		steps = append(steps, c.steps(cmp.Or(r.most, versionBytes))...)
		c.fresh = pathList{} // the steps have them now
	}
	slices.SortStableFunc(steps, func(a, b step) int {
		return cmp.Or(loose(a)-loose(b), cmp.Compare(b.newest, a.newest), cmp.Compare(a.slug, b.slug))
	})
	return steps, nil
}

// loose is 1 for files that have no site, else 0.
func loose(s step) int {
	if manifest.Unfiled(s.slug) {
		return 1
	}
	return 0
}

type planner struct {
	r         *round
	groups    map[string]*group
	uncertain uncertain
	changes   []*change
	said      []ledger.Said   // what people decided and no version records yet
	left      map[string]left // by path below the working folder
	slugs     map[string]bool // taken
	withheld  withheld
	halves    *halves
	unseen    bool  // something recorded could not be compared
	paths     int   // people's paths recorded before
	bytes     int64 // and their size
}

// match finds the object of every group and compares the two. Objects whose
// group is missing may live on under another folder name; else all their paths
// are gone.
func (p *planner) match(ctx context.Context) error {
	log, _, _ := p.r.look()
	p.slugs = map[string]bool{}
	for slug := range log.index {
		p.slugs[slug] = true
	}
	unknown := false
	var orphans []string
	matched := map[string]bool{}
	for _, slug := range slices.Sorted(maps.Keys(p.slugs)) {
		o, err := p.r.objects.get(ctx, slug)
		if errors.Is(err, errNoInventory) {
			p.r.wait(slug, ReasonInventory, true)
			unknown, p.unseen = true, true
			continue
		}
		if err != nil {
			return err
		}
		p.paths += len(o.rec.Paths)
		for _, e := range o.rec.Paths {
			p.bytes += e.Bytes
		}
		key := o.groupKey()
		g, ok := p.groups[key]
		if !ok {
			orphans = append(orphans, slug)
			continue
		}
		matched[key] = true
		p.compare(slug, o, g)
	}
	var fresh []*group
	for _, key := range slices.Sorted(maps.Keys(p.groups)) {
		if !matched[key] {
			fresh = append(fresh, p.groups[key])
		}
	}
	if unknown && len(fresh) > 0 {
		// A new folder may be a site whose manifest is out of reach now.
		for _, g := range fresh {
			p.holdGroup(g, ReasonInventory, true)
		}
		fresh = nil
	}
	return p.settleFresh(ctx, fresh, orphans)
}

// settleFresh gives every group without an object one: an orphaned object whose
// bytes it mostly holds, or a new one. Where several fit, a person is asked, and
// only what nobody has yet is kept.
func (p *planner) settleFresh(ctx context.Context, fresh []*group, orphans []string) error {
	lives := map[string]bool{}
	several := func(c *change, fits []string) error {
		theirs := map[manifest.Digest]bool{}
		for _, slug := range fits {
			lives[slug] = true
			o, err := p.r.objects.get(ctx, slug)
			if err != nil {
				return err
			}
			for d := range o.inv.Content {
				theirs[d] = true
			}
		}
		c.group.load()
		defer c.group.release()
		p.holdPaths(c, ReasonSeveral, slices.DeleteFunc(c.fresh.list(), func(logical string) bool {
			return !theirs[c.group.files[logical].SHA256]
		}))
		return nil
	}
	var asked []*change // before, and given an object for what was new
	var of []iter.Seq[tally.File]
	for _, g := range fresh {
		of = append(of, g.all())
	}
	for _, c := range p.changes {
		if p.r.Accept == nil && !c.group.unfiled && c.fresh.len() > 0 && len(orphans) > 1 {
			asked = append(asked, c)
			of = append(of, c.freshFiles())
		}
	}
	owners, err := p.owners(ctx, of, orphans)
	if err != nil {
		return err
	}
	for i, c := range asked {
		if fits := owners[len(fresh)+i]; len(fits) > 1 {
			if err := several(c, fits); err != nil {
				return err
			}
		}
	}
	for i, g := range fresh {
		fits := owners[i]
		if g.unfiled {
			fits = nil
		}
		if len(fits) == 1 && !lives[fits[0]] {
			o, err := p.r.objects.get(ctx, fits[0])
			if err != nil {
				return err
			}
			lives[fits[0]] = true
			p.compare(fits[0], o, g)
			continue
		}
		taken := func(s string) bool { return p.slugs[s] }
		slug := ""
		if g.unfiled {
			slug = manifest.UnfiledSlug(g.top, taken)
		} else {
			slug = manifest.Slug(g.pasture, g.site, taken)
		}
		p.slugs[slug] = true
		c := p.compare(slug, nil, g)
		if len(fits) > 0 && p.r.Accept == nil {
			if err := several(c, fits); err != nil {
				return err
			}
		}
	}
	p.changes = slices.DeleteFunc(p.changes, (*change).empty)
	for _, slug := range orphans {
		if lives[slug] {
			continue
		}
		o, err := p.r.objects.get(ctx, slug)
		if err != nil {
			return err
		}
		p.compare(slug, o, &group{site: o.rec.Site, pasture: o.rec.Pasture, base: o.rec.Base})
	}
	return nil
}

// freshFiles are the files whose bytes the change stores.
func (c *change) freshFiles() iter.Seq[tally.File] {
	return func(yield func(tally.File) bool) {
		c.group.load()
		defer c.group.release()
		for logical := range c.fresh.all() {
			if !yield(c.group.files[logical]) {
				return
			}
		}
	}
}

// owners finds, for each list of files, the orphaned objects that they come
// from: those that hold more than half of its digests.
func (p *planner) owners(ctx context.Context, of []iter.Seq[tally.File], orphans []string) ([][]string, error) {
	fits := make([][]string, len(of))
	for _, slug := range orphans {
		o, err := p.r.objects.get(ctx, slug)
		if err != nil {
			return nil, err
		}
		if manifest.Unfiled(slug) || !p.vanished(o) {
			continue
		}
		for i, files := range of {
			mine := map[manifest.Digest]bool{}
			shared := 0
			for f := range files {
				if !mine[f.SHA256] {
					mine[f.SHA256] = true
					if _, ok := o.inv.Content[f.SHA256]; ok {
						shared++
					}
				}
			}
			if 2*shared > len(mine) {
				fits[i] = append(fits[i], slug)
			}
		}
	}
	return fits, nil
}

// vanished reports whether every recorded path of o is surely absent.
func (p *planner) vanished(o *object) bool {
	for logical, e := range o.rec.Paths {
		if p.uncertain.holds(rawPath(o.rec.Base, logical, e)) {
			return false
		}
	}
	return true
}

// compare notes how group g differs from what object old recorded.
func (p *planner) compare(slug string, old *object, g *group) *change {
	g.load()
	defer g.release()
	c := &change{slug: slug, old: old, group: g}
	var fresh []string
	var state map[string]manifest.Digest
	var rec manifest.Record
	if old != nil {
		state, rec = old.inv.State(old.head()), *old.rec
		for _, s := range p.said {
			if s.Object == slug && !recorded(rec.Decisions, s.Decision) {
				c.said = append(c.said, s.Decision)
			}
		}
		c.renamed = len(g.files) > 0 && (rec.Site != g.site || rec.Pasture != g.pasture || rec.Base != g.base)
	}
	for logical, f := range g.files {
		d, recorded := state[logical]
		if recorded && d == f.SHA256 {
			continue
		}
		if recorded {
			e := rec.Paths[logical]
			if e.Bytes == f.Size && e.Modified.Equal(f.Modified) && !hasKey(old.inv.Content, f.SHA256) {
				p.r.wait(f.Path, ReasonDamaged, true)
				continue
			}
			c.altered = append(c.altered, logical)
		}
		if old != nil && hasKey(old.inv.Content, f.SHA256) {
			c.known = append(c.known, logical)
		} else {
			fresh = append(fresh, logical)
			c.size += f.Size
		}
	}
	hidden := false // the folder has another name, and nobody can see whether all came along
	for logical := range state {
		if strings.HasPrefix(logical, ".linecamp/") {
			continue
		}
		if _, shown := g.files[logical]; shown {
			continue
		}
		e := rec.Paths[logical]
		p.left[rawPath(rec.Base, logical, e)] = left{c, logical, e, state[logical]}
		if p.uncertain.holds(rawPath(g.base, logical, e)) {
			p.unseen = true
			hidden = hidden || len(g.files) > 0 && rec.Base != g.base
		} else {
			c.gone = append(c.gone, logical)
		}
	}
	for _, list := range [][]string{c.gone, c.altered, c.known, fresh} {
		slices.Sort(list)
	}
	c.fresh = packPaths(fresh)
	if hidden {
		p.stay(c, ReasonHidden, false)
	}
	if !c.empty() {
		p.changes = append(p.changes, c)
	}
	return c
}

// recorded reports whether a decision is in a record already: a round that was
// cut off may have written it and not said so.
func recorded(all []manifest.Decision, d manifest.Decision) bool {
	return slices.ContainsFunc(all, func(o manifest.Decision) bool {
		when := o.When.Equal(d.When)
		o.When = d.When
		return when && slices.Equal(o.Years, d.Years) && fmt.Sprint(o) == fmt.Sprint(d)
	})
}

// holdGroup lets all files of a group wait; person tells whether for one.
func (p *planner) holdGroup(g *group, reason string, person bool) {
	g.load()
	defer g.release()
	for _, f := range g.files {
		p.r.wait(f.Path, reason, person)
		p.withheld.add(f)
	}
}

// steps cuts a change into versions. What went, moved or was renamed goes with
// the first, since a move is a pair within one version step.
func (c *change) steps(most int64) []step {
	c.group.load()
	defer c.group.release()
	fresh := c.fresh.list()
	files := c.group.files
	slices.SortStableFunc(fresh, func(a, b string) int {
		return cmp.Or(cmp.Compare(files[b].Visit, files[a].Visit), cmp.Compare(a, b))
	})
	steps := []step{{change: c, first: true}}
	var site, held int64 // bytes of the site before this version, and in it
	if c.old != nil {
		for _, e := range c.old.rec.Paths {
			site += e.Bytes
		}
	}
	for _, logical := range fresh {
		last := &steps[len(steps)-1]
		n := files[logical].Size
		if held+n > max(most, site/versionShare) && last.paths.len() > 0 {
			steps = append(steps, step{change: c})
			last = &steps[len(steps)-1]
			site, held = site+held, 0
		}
		held += n
		last.paths.add(logical)
		last.size += n
		last.newest = max(last.newest, files[logical].Visit)
	}
	for i := range steps {
		steps[i].paths.fit()
	}
	return steps
}

// uncertain holds the raw paths whose absence from the tally proves nothing.
type uncertain struct {
	paths   map[string]bool
	folders []string
}

func uncertainPaths(t *tally.Result) uncertain {
	u := uncertain{paths: map[string]bool{}, folders: t.Unlisted}
	for _, w := range t.Waiting {
		u.paths[w.Path] = true
	}
	for _, w := range t.Passed {
		u.paths[w.Path] = true
	}
	return u
}

func (u uncertain) holds(raw string) bool {
	if u.paths[raw] {
		return true
	}
	for i := range len(raw) { // a link in the place of a folder was not listed
		if raw[i] == '/' && u.paths[raw[:i]] {
			return true
		}
	}
	for _, f := range u.folders {
		if f == "" || f == "." || strings.HasPrefix(raw, f+"/") {
			return true
		}
	}
	return false
}
