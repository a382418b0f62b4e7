package verify

import (
	"context"
	"errors"

	"linecamp/manifest"
	"linecamp/manifest/store"
)

// Copy is an opened copy.
type Copy struct {
	Name string // as the config names it
	ID   string
	Root store.Root
}

// ErrNoRecord marks an object whose manifest is good and whose record is not:
// names and bytes are known, times and visits are not.
var ErrNoRecord = errors.New("the record cannot be read")

// ReadObject returns the newest committed inventory of an object and the record
// that belongs to it. If only the record is damaged or missing, the inventory
// is returned beside an error that wraps ErrNoRecord.
func ReadObject(ctx context.Context, r store.Root, slug string) (*manifest.Inventory, *manifest.Record, error) {
	return nil, nil, errSoon
}

var errSoon = errors.New("not built yet")
