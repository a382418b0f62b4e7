package daemon

import (
	"errors"
	"slices"

	"linecamp/daemon/decide"
	"linecamp/daemon/handover"
	"linecamp/daemon/intake"
	"linecamp/daemon/reach"
	"linecamp/manifest/seal"
	"linecamp/verify/history"
	"linecamp/verify/restore"
)

// ErrNoSite: no site has the name that was asked for.
var ErrNoSite = history.ErrNoSite

// IsAskedWrong reports an error that means: what was asked for is not there, or cannot
// be had, however often it is tried.
func IsAskedWrong(err error) bool {
	var many *history.ManySites
	return errors.As(err, &many) || slices.ContainsFunc([]error{
		ErrNoSite, ErrLastCopy, ErrYearsFrom, ErrHandOver,
		seal.ErrPrinted, seal.ErrSlip, restore.ErrAsked, reach.ErrNoCopy, decide.ErrExplain, decide.ErrUndo, decide.ErrSame, handover.ErrInto, intake.ErrAsked, intake.ErrCard,
	}, func(sentinel error) bool { return errors.Is(err, sentinel) })
}
