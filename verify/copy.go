package verify

import "linecamp/manifest/store"

// Copy is an opened copy.
type Copy struct {
	Name string // as the config names it
	ID   string
	Root store.Root
}

// Key is what the memory knows the copy by: its id, or its name where that is
// not known.
func (c Copy) Key() string {
	if c.ID != "" {
		return c.ID
	}
	return c.Name
}
