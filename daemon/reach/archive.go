package reach

import (
	"context"
	"fmt"

	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// What the ledger keeps of the archive's identity, for when no copy is there.
const (
	KeyID   = "archive-id"
	KeyName = "archive-name"
)

// oneArchive makes sure that all copies are of one archive: the one the ledger
// knows, else the one the first open copy names. Any other is taken out.
func (o Opener) oneArchive(ctx context.Context, r *Copies) error {
	id, known, err := o.Ledger.Value(KeyID)
	if err != nil {
		return fmt.Errorf("the ledger: %w", err)
	}
	if known {
		if r.Name, _, err = o.Ledger.Value(KeyName); err != nil {
			return fmt.Errorf("the ledger: %w", err)
		}
	}
	r.ID = id
	for _, h := range r.Open() {
		is, err := h.Root.Identity(ctx)
		if err == nil && r.ID == "" {
			r.ID, r.Name = is.ArchiveID, is.Archive
		}
		if err == nil && (is.ArchiveID != r.ID || is.Archive != r.Name) {
			err = fault.Say(store.ErrOtherRoot, "%s belongs to another archive than the other copies (%s); nothing is written to it", h.Root.Name(), r.Name)
		}
		if err != nil {
			h.Root.Close()
			h.Root, h.Err = nil, err
		}
	}
	if !known && r.ID != "" {
		if err := o.Ledger.SetValue(KeyName, r.Name); err != nil {
			return fmt.Errorf("the ledger: %w", err)
		}
		if err := o.Ledger.SetValue(KeyID, r.ID); err != nil {
			return fmt.Errorf("the ledger: %w", err)
		}
	}
	return nil
}
