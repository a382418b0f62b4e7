package mirror

import (
	"slices"
	"sync"

	"linecamp/daemon/mirror/short"
)

// shorts are what one copy is short of during a round.
type shorts struct {
	mu  sync.Mutex
	all []short.File
	err error // the ledger could not be read or written
}

// loadShort reads what the copy was short of before this round.
func (c *copyRun) loadShort() {
	c.short.mu.Lock()
	defer c.short.mu.Unlock()
	c.short.all, c.short.err = short.Of(c.r.Ledger, c.ID)
}

// fallsShort notes that versions were committed there without some files.
func (c *copyRun) fallsShort(added ...short.File) error {
	if len(added) == 0 {
		return nil
	}
	c.short.mu.Lock()
	defer c.short.mu.Unlock()
	for _, s := range added {
		s.FAT = s.TooLarge && c.onFAT()
		c.short.all = slices.DeleteFunc(c.short.all, func(x short.File) bool { return x.Object == s.Object && x.Content == s.Content })
		c.short.all = append(c.short.all, s)
	}
	return short.Note(c.r.Ledger, c.ID, c.short.all)
}

// onFAT reports whether the copy is a drive whose files end below 4 GiB.
func (c *copyRun) onFAT() bool {
	d, ok := c.Root.(interface{ Largest() int64 })
	return ok && d.Largest() == 1<<32-1
}

// tooLargeThere are the people's paths that the copy's file system cannot hold.
func (c *copyRun) tooLargeThere() (paths []string, text string) {
	c.short.mu.Lock()
	defer c.short.mu.Unlock()
	large := slices.DeleteFunc(slices.Clone(c.short.all), func(s short.File) bool { return !s.TooLarge })
	for _, s := range large {
		paths = append(paths, s.Path)
	}
	slices.Sort(paths)
	return paths, short.Text(large)
}
