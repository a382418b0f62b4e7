package plan

import (
	"context"
	"errors"
	"maps"
	"slices"
	"strconv"

	"linecamp/manifest"
)

// A round that finds more than this share of the known files altered or gone
// at once, and more than this many, records none of that by itself.
const (
	massShare = 5 // one in five
	massCount = 10
)

const (
	deviceKey = "device of the working folder"
	provenKey = "working folder agreed with the record"
	massKey   = "mass change waits"

	unfiledKey = "accepted that many photos have no site"
)

// guard holds back what looks like harm: an empty or swapped working folder, a
// mass change, a rename that would store much of the archive again. Only what is
// in doubt waits, which is what would replace a recorded file, remove one or
// store it again. New files are always taken.
func (p *planner) guard(ctx context.Context) error {
	r := p.r
	if r.Tally.Files == 0 {
		if p.paths > 0 {
			r.Wait("", ReasonEmpty, true)
			p.changes = nil
		}
		return nil
	}
	elsewhere := p.elsewhere() // before anything is held back
	if !r.Accepted {
		if err := p.holdUnproven(); err != nil {
			return err
		}
	}
	if err := p.holdDevice(); err != nil {
		return err
	}
	if err := p.askUnfiled(); err != nil {
		return err
	}
	if !r.Accepted {
		if err := p.holdMass(elsewhere); err != nil {
			return err
		}
		return p.holdAgain(ctx)
	}
	return errors.Join(r.Ledger.SetValue(massKey, ""), r.Ledger.SetValue(provenKey, "yes"))
}

// holdDevice holds absences back where the working folder is on another device
// than last time. The old device stays noted until they are accepted, or none
// is left.
func (p *planner) holdDevice() error {
	r := p.r
	device := strconv.FormatUint(r.Tally.Device, 16)
	before, _, err := r.Ledger.Value(deviceKey)
	if err != nil {
		return err
	}
	moved := before != "" && before != device
	if moved && !r.Accepted && p.hold(ReasonDevice, func(c *change) []string { return c.Gone }) {
		return nil
	}
	return r.Ledger.SetValue(deviceKey, device)
}

// holdUnproven holds changed bytes back as long as this computer's state never
// saw the working folder agree with the record. A file whose bytes and time
// both differ from the record may be an edit, or may be what a bad restore or a
// failing disk left while nobody remembered; only a person can tell. Once
// everything recorded was found as recorded, or accepted, what changes later
// is an edit.
func (p *planner) holdUnproven() error {
	proven, _, err := p.r.Ledger.Value(provenKey)
	if err != nil || proven != "" {
		return err
	}
	if p.hold(ReasonUnproven, func(c *change) []string { return c.Altered }) || p.unseen {
		return nil
	}
	return p.r.Ledger.SetValue(provenKey, "yes")
}

// holdMass holds back what is altered or gone where that is more than a fifth
// of what is known. New files that are recorded meanwhile make that share
// smaller, so a change that waits once goes on waiting until it is accepted or
// is no longer there.
func (p *planner) holdMass(elsewhere map[manifest.Digest]bool) error {
	noted, _, err := p.r.Ledger.Value(massKey)
	if err != nil {
		return err
	}
	harmed := 0
	for _, c := range p.changes {
		harmed += len(c.harmed(elsewhere))
	}
	if harmed <= massCount || noted == "" && harmed*massShare <= p.paths {
		if noted == "" || p.unseen {
			return nil
		}
		return p.r.Ledger.SetValue(massKey, "")
	}
	p.hold(ReasonMass, func(c *change) []string {
		paths := slices.Concat(c.Altered, c.vanished(elsewhere))
		for logical := range c.fresh.All() { // another site's file until now
			f := c.Group.Files[logical]
			if was, ok := p.left[f.Path]; ok && was.c != c && was.digest != f.SHA256 {
				paths = append(paths, logical)
			}
		}
		return paths
	})
	return p.r.Ledger.SetValue(massKey, "yes")
}

// hold keeps the paths picked by which from being recorded, and reports them.
// The rest of each change goes on. It tells whether there were any.
func (p *planner) hold(reason string, which func(*change) []string) bool {
	any := false
	for _, c := range p.changes {
		c.Group.Load()
		paths := which(c)
		any = any || len(paths) > 0
		p.holdPaths(c, reason, paths)
		c.Group.Release()
	}
	p.changes = slices.DeleteFunc(p.changes, (*change).empty)
	return any
}

// holdPaths takes paths out of a change, whose group is loaded.
func (p *planner) holdPaths(c *change, reason string, paths []string) {
	if len(paths) == 0 {
		return
	}
	held := map[string]bool{}
	for _, logical := range paths {
		if held[logical] {
			continue
		}
		held[logical] = true
		e := manifest.Entry{}
		if f, shown := c.Group.Files[logical]; shown {
			e = c.Group.Entry(logical)
			p.withheld.add(f)
		} else if c.Old != nil {
			e = c.Old.Rec.Paths[logical]
		}
		p.r.Wait(manifest.RawPath(c.Group.Base, logical, e), reason, true)
	}
	c.leave(held)
}

// leave takes paths out of what a change does.
func (c *change) leave(held map[string]bool) {
	is := func(logical string) bool { return held[logical] }
	c.Gone = slices.DeleteFunc(c.Gone, is)
	c.Altered = slices.DeleteFunc(c.Altered, is)
	c.Known = slices.DeleteFunc(c.Known, is)
	maps.DeleteFunc(c.Beside, func(logical, _ string) bool { return held[logical] })
	c.fresh = packPaths(slices.DeleteFunc(c.fresh.list(), func(logical string) bool {
		if held[logical] {
			c.size -= c.Group.Files[logical].Size
		}
		return held[logical]
	}))
}

// elsewhere are the digests that stand at a path where they did not stand
// before. It is empty where nothing is altered or gone.
func (p *planner) elsewhere() map[manifest.Digest]bool {
	elsewhere := map[manifest.Digest]bool{}
	if !slices.ContainsFunc(p.changes, func(c *change) bool { return len(c.Gone)+len(c.Altered) > 0 }) {
		return elsewhere
	}
	for _, c := range p.changes {
		c.Group.Load()
		for _, list := range [][]string{c.Known, c.fresh.list()} {
			for _, logical := range list {
				elsewhere[c.Group.Files[logical].SHA256] = true
			}
		}
		c.Group.Release()
	}
	return elsewhere
}

// harmed are the paths altered or gone whose bytes stand nowhere else now.
func (c *change) harmed(elsewhere map[manifest.Digest]bool) []string {
	return append(c.without(elsewhere, c.Altered), c.vanished(elsewhere)...)
}

// vanished are the paths gone, leaving out those that were moved.
func (c *change) vanished(elsewhere map[manifest.Digest]bool) []string {
	return c.without(elsewhere, c.Gone)
}

func (c *change) without(elsewhere map[manifest.Digest]bool, paths []string) []string {
	if c.Old == nil {
		return nil
	}
	state := c.Old.Inv.State(c.Old.Head())
	return slices.DeleteFunc(slices.Clone(paths), func(logical string) bool { return elsewhere[state[logical]] })
}

// askUnfiled asks whether the folder was understood where over a fifth of the
// photos have no site. Nothing waits for the answer; accepting is one.
func (p *planner) askUnfiled() error {
	photos, unfiled := 0, 0
	for i := range p.r.Tally.Sites {
		for f := range p.r.Tally.Sites[i].Files() {
			if f.Kind == manifest.KindPhoto {
				photos++
			}
		}
	}
	for f := range p.r.Tally.Unfiled.All() {
		if f.Kind == manifest.KindPhoto {
			photos++
			unfiled++
		}
	}
	accepted, _, err := p.r.Ledger.Value(unfiledKey)
	many := unfiled*massShare > photos
	switch {
	case err != nil:
		return err
	case !many && accepted != "":
		return p.r.Ledger.SetValue(unfiledKey, "")
	case many && p.r.Accepted:
		return p.r.Ledger.SetValue(unfiledKey, "yes")
	case many && accepted == "":
		p.r.Question(AskUnfiled)
	}
	return nil
}

// holdAgain holds changes that would store over a tenth of the archive's bytes
// again under another object: folders were renamed in a way nobody recognized. A site
// that goes on from a closed object has to be stored again.
func (p *planner) holdAgain(ctx context.Context) error {
	var total int64
	for _, c := range p.changes {
		if c.from == "" {
			total += c.size
		}
	}
	if p.paths == 0 || total*10 <= p.bytes {
		return nil
	}
	size := map[manifest.Digest]int64{}
	for _, c := range p.changes {
		if c.from != "" {
			continue
		}
		c.Group.Load()
		for logical := range c.fresh.All() {
			f := c.Group.Files[logical]
			size[f.SHA256] = f.Size
		}
		c.Group.Release()
	}
	var again int64
	twice := map[manifest.Digest]bool{}
	log := p.r.Sites.Log()
	for _, slug := range slices.Sorted(maps.Keys(log.Index)) {
		o, err := p.r.Sites.Get(ctx, slug)
		if err != nil {
			continue // it waits already, with its own reason
		}
		for d := range o.Inv.Content {
			if n, ok := size[d]; ok && !twice[d] {
				twice[d] = true
				again += n
			}
		}
	}
	if again*10 <= p.bytes {
		return nil
	}
	p.hold(ReasonAgain, func(c *change) []string {
		if c.from != "" {
			return nil
		}
		return slices.DeleteFunc(c.fresh.list(), func(l string) bool { return !twice[c.Group.Files[l].SHA256] })
	})
	return nil
}
