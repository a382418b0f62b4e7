package manifest

import (
	"errors"
	"fmt"
)

// What callers decide on. Each error below wraps one of these and says which
// rule was broken by what.
var (
	// ErrInventory marks bytes or values that are not a valid inventory.
	ErrInventory = errors.New("not a valid inventory")
	// ErrSidecar marks a sidecar that does not fit its inventory.
	ErrSidecar = errors.New("the inventory does not match its sidecar")
	// ErrRecord marks bytes or values that are not a valid record.
	ErrRecord = errors.New("not a valid record")
	// ErrPath marks a logical or content path that the format cannot hold.
	ErrPath = errors.New("not a valid path")
	// ErrID marks an object id, slug or archive name that linecamp never gives.
	ErrID = errors.New("not a valid name")
	// ErrCreated marks a version dated before the newest one: the clock is
	// behind, and authoring waits until it is right.
	ErrCreated = errors.New("the clock stands before the newest version")
	// ErrTooLarge marks a site whose inventory or record would pass the size
	// that readers accept.
	ErrTooLarge = errors.New("the site is too large for one inventory")
)

// Limits on what is read back. They are far above what a site needs and keep a
// damaged or hostile file from filling the memory.
const (
	MaxInventory = 256 << 20 // bytes of an inventory.json
	MaxRecord    = 256 << 20 // bytes of a record

	maxListed = 4 << 20 // paths in all states of an inventory together
)

// broken returns an error that wraps sentinel and says which rule was broken.
func broken(sentinel error, format string, args ...any) error {
	return fmt.Errorf("%w: %s", sentinel, fmt.Sprintf(format, args...))
}
