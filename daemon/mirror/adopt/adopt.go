// Package adopt has a state folder go over from one history of an archive to another,
// which governs (manifest/seal): [History]. The seal that it recorded until then is
// kept, and each round brings it to the copies, so that what was printed of it can be
// checked and what it names be taken in.
package adopt

import (
	"errors"
	"fmt"

	"linecamp/daemon/authority"
	"linecamp/daemon/authority/marks"
	"linecamp/daemon/ledger"
	"linecamp/daemon/mirror/gone"
	"linecamp/manifest/seal"
)

// History replaces the seal of the state folder, was, by the one that governs. What
// the ledger knows of the copies stays as far as both agree: versions of the other
// history may give way there, which is no damage, and every copy is read anew. The
// ledger is synced first, so that a crash in between leaves a state that does all of
// this again. Files that were deleted in the folder before the two parted stay deleted; of later
// ones nothing is known in the history that goes on.
func History(l *ledger.Ledger, cache *ledger.Inventories, archive string, copies []authority.Copy, was, is *seal.Seal) error {
	from, err := authority.NewLog(archive, was)
	if err != nil {
		return err
	}
	to, err := authority.NewLog(archive, is)
	if err != nil {
		return err
	}
	agree := from.Agrees(to)
	for _, c := range copies {
		if err := gone.Forget(l, c.ID, agree); err != nil {
			return err
		}
		if err := authority.Unread(l, c.ID); err != nil {
			return err
		}
	}
	if err := authority.StepDown(l); err != nil {
		return err
	}
	// They are of versions of the history that is left; each copy is read anew, and what
	// lies there is noted then.
	every := func(marks.Mark) bool { return true }
	if err := errors.Join(marks.Begun(l).Drop(every), marks.PassedOver(l).Drop(every)); err != nil {
		return err
	}
	lines, sum, all, err := l.Accounted()
	if err != nil {
		return err
	}
	if common := seal.Common(was, is); !all && lines > common && lines <= was.Len() && was.DigestOf(lines) == sum {
		if err := l.AccountFor(common, is.DigestOf(common), nil); err != nil {
			return err
		}
	}
	if err := l.Sync(); err != nil {
		return err
	}
	if err := cache.AdoptSeal(is); err != nil {
		return fmt.Errorf("keeping the seal of the history that goes on: %w", err)
	}
	return nil
}
