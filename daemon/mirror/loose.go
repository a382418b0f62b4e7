package mirror

import (
	"math"
	"slices"

	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/late"
	"linecamp/manifest"
	"linecamp/manifest/words"
)

// loosen notes that the copy's versions of slug are not the archive's from one on, 0
// for one that is still to be found out. The copy is read anew until they are taken in.
func (c *copyRun) loosen(slug string, from int) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.loose[slug] = from
	return authority.ScanAnew(c.r.Ledger, c.ID)
}

// unloose notes that nothing is loose of slug there, and which version the copy has.
func (c *copyRun) unloose(slug string, has int) error {
	c.mu.Lock()
	delete(c.loose, slug)
	known := c.scanned && len(c.loose) == 0
	c.mu.Unlock()
	if err := c.holds.SetHas(slug, has); err != nil || !known {
		return err
	}
	return authority.MarkScanned(c.r.Ledger, c.ID)
}

// ours is the newest of the archive's versions of slug that the copy has.
func (c *copyRun) ours(slug string) int {
	c.mu.Lock()
	from, loose := c.loose[slug]
	c.mu.Unlock()
	switch {
	case !loose:
		return c.holds.Has(slug)
	case from == 0:
		return math.MaxInt // it may be any
	}
	return from - 1
}

// looseSlugs are those of which it is known what is loose there.
func (c *copyRun) looseSlugs() (all []string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for slug, from := range c.loose {
		if from > 0 {
			all = append(all, slug)
		}
	}
	slices.Sort(all)
	return all
}

// isLoose is from which version on a copy's versions of slug are not the archive's, 0
// for none. They are free where they only go on from it, so that they can be sealed as
// they are. Where other histories were met, takeIn looks first.
func (r *round) isLoose(slug string, inv *manifest.Inventory) (from int, free bool) {
	log := r.objects.Log()
	from = late.From(inv, log.Index[slug])
	return from, from > log.Head(slug) && !log.Closed(slug) && len(r.others.Logs) == 0
}

// loosenClosed notes the closed objects of which the copy was away with versions that
// counted once.
func (c *copyRun) loosenClosed() error {
	log := c.r.objects.Log()
	for slug := range log.AllClosed() {
		if n := log.Head(slug); c.holds.Has(slug) > n && !c.elsewhere(slug) {
			if err := c.loosen(slug, n+1); err != nil {
				return err
			}
		}
	}
	return nil
}

// took counts a version that was taken in from the copy.
func (c *copyRun) took() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.taken++
	c.out.Note = words.Count(c.taken, "version that another history recorded there was", "versions that another history recorded there were") + " taken in"
}

// rest notes that what is loose of slug there holds up nothing in this round: all of it is
// brought, or nothing can be done with it.
func (c *copyRun) rest(slug string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.rests[slug] = true
}

// undone reports whether a copy in reach has something loose of an object that is still
// to be taken in.
func (r *round) undone(slug string) bool {
	return slices.ContainsFunc(r.copies, func(c *copyRun) bool {
		return c.canRead() && slices.Contains(c.looseSlugs(), slug) && !c.rests[slug]
	})
}
