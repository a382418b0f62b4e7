package mirror

import (
	"context"
	"maps"
	"slices"
	"strconv"

	"linecamp/manifest"
)

// A round that finds more than this share of the known files altered or gone
// at once, and more than this many, records none of it by itself.
const (
	massShare = 5 // one in five
	massCount = 10
)

const (
	deviceKey = "device of the working folder"
	provenKey = "working folder agreed with the record"
)

// guard holds back what looks like harm: an empty or swapped working folder, a
// mass change, a layout that files nothing, a rename that would store much of
// the archive again. A site with changes that wait takes no additions either.
func (p *planner) guard(ctx context.Context) error {
	r := p.r
	if r.Tally.Files == 0 {
		if p.paths > 0 {
			r.wait("", ReasonEmpty, true)
			p.changes = nil
		}
		return nil
	}
	harmed := p.harmed() // before anything is held back
	if r.Accept == nil {
		if err := p.holdUnproven(); err != nil {
			return err
		}
	}
	if err := p.holdDevice(); err != nil {
		return err
	}
	if r.Accept == nil {
		p.holdMass(harmed)
		p.holdUnfiled()
		return p.holdAgain(ctx)
	}
	return r.Ledger.SetValue(provenKey, "yes")
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
	if moved && r.Accept == nil && p.hold(ReasonDevice, func(c *change) []string { return c.gone }) {
		return nil
	}
	return r.Ledger.SetValue(deviceKey, device)
}

// holdUnproven holds changed bytes back as long as this machine's state never
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
	if p.hold(ReasonUnproven, func(c *change) []string { return c.altered }) || p.unseen {
		return nil
	}
	return p.r.Ledger.SetValue(provenKey, "yes")
}

// holdMass holds back what is altered or gone where that is more than a fifth
// of what is known. Files renamed by malware may no longer look like those of
// their site: what has no site, and sites not known before, wait too.
func (p *planner) holdMass(harmed int) {
	if harmed <= massCount || harmed*massShare <= p.paths {
		return
	}
	p.hold(ReasonMass, func(c *change) []string {
		paths := slices.Concat(c.gone, c.altered)
		if c.group.unfiled || c.old == nil {
			paths = slices.Concat(paths, c.fresh.list())
		}
		return paths
	})
}

// hold keeps every change with paths picked by which from being recorded, and
// reports those paths. It tells whether there were any.
func (p *planner) hold(reason string, which func(*change) []string) bool {
	before := len(p.changes)
	p.changes = slices.DeleteFunc(p.changes, func(c *change) bool {
		paths := which(c)
		for _, logical := range paths {
			var e manifest.Entry
			if c.old != nil {
				e = c.old.rec.Paths[logical]
			}
			p.r.wait(rawPath(c.group.base, logical, e), reason, true)
		}
		if len(paths) == 0 {
			return false
		}
		c.group.load()
		defer c.group.release()
		for _, logical := range slices.Concat(c.known, c.fresh.list()) {
			p.withheld.add(c.group.files[logical])
		}
		return true
	})
	return len(p.changes) < before
}

// harmed counts the paths altered or gone, leaving out bytes that merely stand
// at another path now.
func (p *planner) harmed() int {
	if !slices.ContainsFunc(p.changes, func(c *change) bool { return len(c.gone)+len(c.altered) > 0 }) {
		return 0
	}
	elsewhere := map[manifest.Digest]bool{}
	for _, c := range p.changes {
		c.group.load()
		for _, list := range [][]string{c.known, c.fresh.list()} {
			for _, logical := range list {
				elsewhere[c.group.files[logical].SHA256] = true
			}
		}
		c.group.release()
	}
	n := 0
	for _, c := range p.changes {
		if c.old == nil {
			continue
		}
		state := c.old.inv.State(c.old.head())
		for _, list := range [][]string{c.gone, c.altered} {
			for _, logical := range list {
				if !elsewhere[state[logical]] {
					n++
				}
			}
		}
	}
	return n
}

// holdUnfiled holds a first mirror in which over a fifth of the photos have no
// site: a layout that was not understood is better put right before.
func (p *planner) holdUnfiled() {
	if p.paths > 0 {
		return
	}
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
	if unfiled*massShare > photos {
		p.r.wait("", ReasonUnfiled, true)
		p.changes = nil
	}
}

// holdAgain holds changes that would store over a tenth of the archive's bytes
// again under another object: folders were renamed in a way nobody recognised.
func (p *planner) holdAgain(ctx context.Context) error {
	var total int64
	for _, c := range p.changes {
		total += c.size
	}
	if p.paths == 0 || total*10 <= p.bytes {
		return nil
	}
	size := map[manifest.Digest]int64{}
	for _, c := range p.changes {
		c.group.load()
		for logical := range c.fresh.all() {
			f := c.group.files[logical]
			size[f.SHA256] = f.Size
		}
		c.group.release()
	}
	var again int64
	twice := map[manifest.Digest]bool{}
	log, _, _ := p.r.look()
	for _, slug := range slices.Sorted(maps.Keys(log.index)) {
		o, err := p.r.objects.get(ctx, slug)
		if err != nil {
			continue // it waits already, with its own reason
		}
		for d := range o.inv.Content {
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
		c.group.load()
		defer c.group.release()
		return slices.DeleteFunc(c.fresh.list(), func(l string) bool { return !twice[c.group.files[l].SHA256] })
	})
	return nil
}
