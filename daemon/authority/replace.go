package authority

import (
	"context"

	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

// replacingKey is where it is noted that the seal of a copy is giving way to the
// archive's.
func replacingKey(copyID string) string { return "replacing seal " + copyID }

// Replacing notes that the seal of a copy is to give way to the archive's, and that the
// copy is to be read anew. It must outlive a power cut: whoever recorded there may have a
// line on its way, and what that leaves may not read as a seal. Then the next round goes on.
func Replacing(l Notes, copyID string) error {
	if err := ScanAnew(l, copyID); err != nil {
		return err
	}
	return l.SetValue(replacingKey(copyID), "yes")
}

// ReplaceSeal makes the seal of a copy s, whatever it tells now, once that is noted.
func ReplaceSeal(ctx context.Context, l Notes, c Copy, s *seal.Seal) error {
	if err := store.ReplaceSeal(ctx, c.Root, s); err != nil {
		return err
	}
	_, tail, err := store.ReadTail(ctx, c.Root)
	if err != nil {
		return err
	}
	if err := NoteSeal(l, c.ID, tail); err != nil {
		return err
	}
	return l.SetValue(replacingKey(c.ID), "")
}
