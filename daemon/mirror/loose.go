package mirror

import (
	"slices"

	"linecamp/daemon/mirror/late"
	"linecamp/manifest"
	"linecamp/manifest/words"
)

// unloose notes that nothing is loose of slug there, and which version the copy has. What it
// lacks now is taken over like anything else.
func (c *copyRun) unloose(slug string, has int) error {
	c.turn.Lock()
	defer c.turn.Unlock()
	c.next = 0
	if err := c.holds.SetHas(slug, has); err != nil {
		return err
	}
	return c.loose.Drop(slug)
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
			if err := c.loose.Add(slug, n+1); err != nil {
				return err
			}
		}
	}
	return nil
}

// took counts a version that was taken in from the copy.
func (c *copyRun) took() {
	c.taken++
	c.note(words.Count(c.taken, "version of another history there was", "versions of another history there were") + " taken in")
}

// undone reports whether a copy in reach has something loose of an object that is still
// to be taken in.
func (r *round) undone(slug string) bool {
	return slices.ContainsFunc(r.copies, func(c *copyRun) bool { return c.canRead() && c.loose.Undone(slug) })
}
