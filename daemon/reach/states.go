package reach

import (
	"errors"
	"fmt"

	"linecamp/daemon/config"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// How a copy stands.
const (
	Current     = "current"     // has every version there is
	Behind      = "behind"      // lacks some; the next round carries on
	Away        = "away"        // not plugged in, within the days its owner allows
	Unreachable = "unreachable" // out of reach now
	Failed      = "failed"      // reached, and refused or broken
)

// StateOf is the state of a copy that an error keeps from its work.
func StateOf(err error) string {
	if err == nil || fault.Of(err).OutOfReach() {
		return Unreachable
	}
	return Failed
}

// State is how a copy that could not be opened stands, in mirror's words.
func (h *Copy) State() string {
	if h.Away {
		return Away
	}
	return StateOf(h.Err)
}

// Note tells what is no fault, and what a person may wonder about: why a drive
// is away, and that one was found at another place than the settings say.
func (h *Copy) Note() string {
	switch {
	case h.Away:
		return h.Err.Error()
	}
	if at, ok := h.Root.(store.Placed); ok && at.Folder() != h.Copy.Root {
		return fmt.Sprintf("it is plugged in at %s, not at %s, and was found by its id", at.Name(), h.Copy.Root)
	}
	return ""
}

// Answers reports whether a copy that could not be opened is within reach all the same.
// One that a person gave up, or whose address nobody confirmed, was not asked, and where
// something else stands in a drive's place, the drive is away.
func (h *Copy) Answers() bool {
	return h.Err != nil && h.State() == Failed && !errors.Is(h.Err, ErrNotUsed) && !errors.Is(h.Err, ErrElsewhere) && h.Credentials != config.NoCredentials
}
