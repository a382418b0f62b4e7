// Package plan says which versions a round is to make, and what waits. Call [Make]
// with the tally and the sites on record.
//
// match compares every site that the working folder shows with its record. What
// looks like harm is then held back and waits, with a reason from reasons.go: an
// empty or swapped folder, a mass change, much of the archive stored again
// (hold.go); one half of a rename whose other half cannot be seen (halves.go);
// files that count for another site now (regroup.go). What is left is cut into
// versions, newest visits first.
package plan

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
	"linecamp/daemon/mirror/sites"
	"linecamp/daemon/mirror/unseen"
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
	Slug    string
	Old     *sites.Object // nil for a site not recorded before
	Group   *sites.Group
	Gone    []string            // logical paths whose folder was listed without them
	Altered []string            // logical paths with other bytes than recorded
	Known   []string            // new paths whose bytes the object has already
	Beside  map[string]string   // altered path → the name under which its recorded bytes go on
	fresh   pathList            // new or altered paths whose bytes are to be stored
	size    int64               // of fresh, in bytes
	Renamed bool                // the names or the folder of the site changed
	Stays   bool                // they did, and the old ones stay on record for now
	Said    []manifest.Decision // what people decided since, for the record
	from    string              // the closed object whose site goes on here; "" for none
}

func (c *change) empty() bool {
	return len(c.Gone)+len(c.Known)+c.fresh.len()+len(c.Said) == 0 && !c.Renamed && !c.Old.Remade()
}

// Step is one version to be made.
type Step struct {
	*change
	First  bool     // the step that also records what went, moved or was renamed
	Paths  pathList // fresh paths whose bytes this version stores
	Size   int64    // of these, in bytes
	newest string   // the newest visit among them
}

// In is what a plan is made from.
type In struct {
	Tally    *tally.Result
	User     manifest.User // this computer
	Accepted bool          // a person said that large changes are meant
	Ledger   *ledger.Ledger
	Sites    *sites.Catalogue
	Most     int64 // bytes of new content in one version, 0 for the usual
	Wait     func(path, reason string, person bool)
	Question func(string)
}

// compute is Make, with nothing remembered.
func compute(ctx context.Context, r In) ([]Step, error) {
	said, err := r.Ledger.Said()
	if err != nil {
		return nil, fmt.Errorf("the ledger: %w", err)
	}
	p := &planner{r: r, groups: sites.Groups(r.Tally), uncertain: uncertainPaths(r.Tally), left: map[string]left{}, ends: map[string]string{}, said: said}
	if p.never, err = unseen.Open(r.Ledger, r.Sites.Log()); err != nil {
		return nil, fmt.Errorf("the ledger: %w", err)
	}
	if err := p.match(ctx); err != nil {
		return nil, err
	}
	p.leaveUnseen()
	if r.Tally.Files > 0 { // an empty folder may be another disk's
		if err := p.never.Keep(); err != nil {
			return nil, fmt.Errorf("the ledger: %w", err)
		}
	}
	p.halves = p.newHalves()
	if err := p.regrouped(); err != nil {
		return nil, err
	}
	if err := p.guard(ctx); err != nil {
		return nil, err
	}
	p.keepHalves()
	var steps []Step
	for _, c := range p.changes {
		steps = append(steps, c.steps(cmp.Or(r.Most, versionBytes))...)
		c.fresh = pathList{} // the steps have them now
	}
	slices.SortStableFunc(steps, func(a, b Step) int {
		return cmp.Or(loose(a)-loose(b), cmp.Compare(b.newest, a.newest), cmp.Compare(a.Slug, b.Slug))
	})
	return steps, nil
}

// loose is 1 for files that have no site, else 0.
func loose(s Step) int {
	if manifest.Unfiled(s.Slug) {
		return 1
	}
	return 0
}

type planner struct {
	r         In
	groups    map[string]*sites.Group
	uncertain uncertain
	changes   []*change
	said      []ledger.Said     // what people decided and no version records yet
	left      map[string]left   // by path below the working folder
	slugs     map[string]bool   // taken
	ends      map[string]string // by group key: closed objects that no other goes on from yet
	withheld  withheld
	halves    *halves
	never     *unseen.Book // what the working folder never had
	unseen    bool         // something recorded could not be compared
	paths     int          // people's paths recorded before
	bytes     int64        // and their size
}

// match finds the object of every group and compares the two. Objects whose
// group is missing may live on under another folder name; else all their paths
// are gone.
func (p *planner) match(ctx context.Context) error {
	log := p.r.Sites.Log()
	p.slugs = map[string]bool{}
	for slug := range log.Index {
		p.slugs[slug] = true
	}
	for slug := range log.AllClosed() {
		p.slugs[slug] = true
	}
	unknown := false
	var orphans []string
	matched, joined := map[string]bool{}, map[string]bool{}
	for _, slug := range slices.Sorted(maps.Keys(p.slugs)) {
		if log.Closed(slug) {
			continue
		}
		o, err := p.r.Sites.Get(ctx, slug)
		if errors.Is(err, sites.ErrNoInventory) {
			p.r.Wait(slug, ReasonInventory, true)
			unknown, p.unseen = true, true
			continue
		}
		if err != nil {
			return err
		}
		for _, before := range o.WentOnFrom() {
			joined[before] = true
		}
		p.paths += len(o.Rec.Paths)
		for _, e := range o.Rec.Paths {
			p.bytes += e.Bytes
		}
		key := o.GroupKey()
		g, ok := p.groups[key]
		if !ok {
			orphans = append(orphans, slug)
			continue
		}
		matched[key] = true
		p.compare(slug, o, g)
	}
	ended, err := p.ended(ctx, joined)
	if err != nil {
		return err
	}
	unknown = unknown || ended == nil
	orphans = append(orphans, ended...)
	var fresh []*sites.Group
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
func (p *planner) settleFresh(ctx context.Context, fresh []*sites.Group, orphans []string) error {
	lives := map[string]bool{}
	several := func(c *change, fits []string) error {
		theirs := map[manifest.Digest]bool{}
		for _, slug := range fits {
			lives[slug] = true
			o, err := p.r.Sites.Get(ctx, slug)
			if err != nil {
				return err
			}
			for d := range o.Inv.Content {
				theirs[d] = true
			}
		}
		c.Group.Load()
		defer c.Group.Release()
		p.holdPaths(c, ReasonSeveral, slices.DeleteFunc(c.fresh.list(), func(logical string) bool {
			return !theirs[c.Group.Files[logical].SHA256]
		}))
		return nil
	}
	var asked []*change // before, and given an object for what was new
	var of []iter.Seq[tally.File]
	for _, g := range fresh {
		of = append(of, g.All())
	}
	for _, c := range p.changes {
		if !p.r.Accepted && !c.Group.Unfiled && c.fresh.len() > 0 && len(orphans) > 1 {
			asked = append(asked, c)
			of = append(of, c.freshFiles())
		}
	}
	owners, err := p.owners(ctx, of, orphans)
	if err != nil {
		return err
	}
	for i, c := range asked {
		if fits := p.open(owners[len(fresh)+i]); len(fits) > 1 {
			if err := several(c, fits); err != nil {
				return err
			}
		}
	}
	for i, g := range fresh {
		fits := owners[i]
		if g.Unfiled {
			fits = nil
		}
		before, err := p.before(ctx, g, fits)
		if err != nil {
			return err
		}
		fits = p.open(fits)
		if before == nil && len(fits) == 1 && !lives[fits[0]] {
			o, err := p.r.Sites.Get(ctx, fits[0])
			if err != nil {
				return err
			}
			lives[fits[0]] = true
			p.compare(fits[0], o, g)
			continue
		}
		taken := func(s string) bool { return p.slugs[s] }
		slug := ""
		if g.Unfiled {
			slug = manifest.UnfiledSlug(g.Top, taken)
		} else {
			slug = manifest.Slug(g.Pasture, g.Site, taken)
		}
		p.slugs[slug] = true
		c := p.compare(slug, nil, g)
		if before != nil {
			p.goOn(c, before)
			continue
		}
		if len(fits) > 0 && !p.r.Accepted {
			if err := several(c, fits); err != nil {
				return err
			}
		}
	}
	p.changes = slices.DeleteFunc(p.changes, (*change).empty)
	for _, slug := range p.open(orphans) {
		if lives[slug] {
			continue
		}
		o, err := p.r.Sites.Get(ctx, slug)
		if err != nil {
			return err
		}
		p.compare(slug, o, &sites.Group{Site: o.Rec.Site, Pasture: o.Rec.Pasture, Base: o.Rec.Base})
	}
	return nil
}

// freshFiles are the files whose bytes the change stores.
func (c *change) freshFiles() iter.Seq[tally.File] {
	return func(yield func(tally.File) bool) {
		c.Group.Load()
		defer c.Group.Release()
		for logical := range c.fresh.All() {
			if !yield(c.Group.Files[logical]) {
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
		o, err := p.r.Sites.Get(ctx, slug)
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
					if _, ok := o.Inv.Content[f.SHA256]; ok {
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
func (p *planner) vanished(o *sites.Object) bool {
	for logical, e := range o.Rec.Paths {
		if p.uncertain.holds(manifest.RawPath(o.Rec.Base, logical, e)) {
			return false
		}
	}
	return true
}

// compare notes how group g differs from what object old recorded.
func (p *planner) compare(slug string, old *sites.Object, g *sites.Group) *change {
	g.Load()
	defer g.Release()
	c := &change{Slug: slug, Old: old, Group: g}
	var fresh []string
	var state map[string]manifest.Digest
	var rec manifest.Record
	if old != nil {
		state, rec = old.Inv.State(old.Head()), *old.Rec
		p.never.Compare(old, g)
		for _, s := range p.said {
			if s.Object == slug && !Recorded(rec.Decisions, s.Decision) {
				c.Said = append(c.Said, s.Decision)
			}
		}
		c.Renamed = len(g.Files) > 0 && (rec.Site != g.Site || rec.Pasture != g.Pasture || rec.Base != g.Base)
	}
	for logical, f := range g.Files {
		d, recorded := state[logical]
		if recorded && d == f.SHA256 {
			continue
		}
		if recorded {
			e := rec.Paths[logical]
			if e.Bytes == f.Size && e.Modified.Equal(f.Modified) && !hasKey(old.Inv.Content, f.SHA256) {
				p.r.Wait(f.Path, ReasonDamaged, true)
				continue
			}
			c.Altered = append(c.Altered, logical)
		}
		if old != nil && hasKey(old.Inv.Content, f.SHA256) {
			c.Known = append(c.Known, logical)
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
		if _, shown := g.Files[logical]; shown {
			continue
		}
		e := rec.Paths[logical]
		p.left[manifest.RawPath(rec.Base, logical, e)] = left{c, logical, e, state[logical]}
		if p.uncertain.holds(manifest.RawPath(g.Base, logical, e)) {
			p.unseen = true
			hidden = hidden || len(g.Files) > 0 && rec.Base != g.Base
		} else {
			c.Gone = append(c.Gone, logical)
		}
	}
	for _, list := range [][]string{c.Gone, c.Altered, c.Known, fresh} {
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

// Recorded reports whether a decision is in a record already: a round that was
// cut off may have written it and not said so.
func Recorded(all []manifest.Decision, d manifest.Decision) bool {
	return slices.ContainsFunc(all, func(o manifest.Decision) bool {
		when := o.When.Equal(d.When)
		o.When = d.When
		return when && slices.Equal(o.Years, d.Years) && fmt.Sprint(o) == fmt.Sprint(d)
	})
}

// holdGroup lets all files of a group wait; person tells whether for one.
func (p *planner) holdGroup(g *sites.Group, reason string, person bool) {
	g.Load()
	defer g.Release()
	for _, f := range g.Files {
		p.r.Wait(f.Path, reason, person)
		p.withheld.add(f)
	}
}

// steps cuts a change into versions. What went, moved or was renamed goes with
// the first, since a move is a pair within one version step.
func (c *change) steps(most int64) []Step {
	c.Group.Load()
	defer c.Group.Release()
	fresh := c.fresh.list()
	files := c.Group.Files
	slices.SortStableFunc(fresh, func(a, b string) int {
		return cmp.Or(cmp.Compare(files[b].Visit, files[a].Visit), cmp.Compare(a, b))
	})
	steps := []Step{{change: c, First: true}}
	var site, held int64 // bytes of the site before this version, and in it
	if c.Old != nil {
		for _, e := range c.Old.Rec.Paths {
			site += e.Bytes
		}
	}
	for _, logical := range fresh {
		last := &steps[len(steps)-1]
		n := files[logical].Size
		if held+n > max(most, site/versionShare) && last.Paths.len() > 0 {
			steps = append(steps, Step{change: c})
			last = &steps[len(steps)-1]
			site, held = site+held, 0
		}
		held += n
		last.Paths.add(logical)
		last.Size += n
		last.newest = max(last.newest, files[logical].Visit)
	}
	for i := range steps {
		steps[i].Paths.fit()
	}
	return steps
}

func hasKey[K comparable, V any](m map[K]V, k K) bool { _, ok := m[k]; return ok }
