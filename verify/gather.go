package verify

import (
	"iter"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/tally"
)

// Object is the newest manifest of an object, for Gather.
type Object struct {
	Inventory *manifest.Inventory
	Record    *manifest.Record // of the newest version; may be nil
	// RecordOf reads the record of an earlier version; may be nil.
	RecordOf func(version int) (*manifest.Record, error)
}

// Holding is what one copy is known to hold: from a check just done, or from
// the last one remembered.
type Holding struct {
	Heads  map[string]int // newest committed version by object
	Damage []Damage
	// Unknown is a copy that could not be asked: nothing is called lost that
	// might be there.
	Unknown bool
}

// Gather makes the years' input.
func Gather(now time.Time, t *tally.Result, objects iter.Seq[Object], holdings []Holding) YearsInput {
	return YearsInput{}
}
