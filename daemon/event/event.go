// Package event tells what happened to an archive, as plain Go values. Begin with
// [Sink]: whoever wants to know gives one to daemon.Options, and is handed each
// [Told] when it happens. What happened is the type of Told.Event: [RoundBegan],
// [RoundEnded], [DamageFound], [DamageGone], [CopyWentAway], [CopyCameBack],
// [CopyBecameCurrent], [AttentionArose], [AttentionEnded], [Waits] or [Missed].
//
// An [Out] delivers the events, to each sink at its own pace: a sink that blocks or
// panics stops no round. [Log] is the sink that writes the service's log, and [File]
// the one that keeps the events in the state folder, also those of a round that a
// person ran by hand; [Read] reads that file.
package event

import (
	"time"

	"linecamp/daemon/attention"
	"linecamp/verify"
)

// Event is one of the types of this package.
type Event interface{ name() string }

// Told is an event, of which archive, and when.
type Told struct {
	At      time.Time
	Archive string
	Event   Event
}

// Sink takes events. It is called from one goroutine for each archive, in the
// order in which things happened; sinks of several archives are called at once.
type Sink func(Told)

// How a round ended.
const (
	Well    = "well"    // nothing wants a person
	Wants   = "wants"   // it came to its end, and something wants a person
	Failed  = "failed"  // it could not be done
	Stopped = "stopped" // it was broken off, and runs again soon
)

// RoundBegan and RoundEnded are about a mirror, verify or mend round. Only is the
// copy it was for, or "" for all.
type (
	RoundBegan struct {
		Round string `json:"round"`
		Only  string `json:"only,omitempty"`
	}
	RoundEnded struct {
		Round   string    `json:"round"`
		Only    string    `json:"only,omitempty"`
		Began   time.Time `json:"began"`
		Outcome string    `json:"outcome"`          // Well and so on
		Detail  string    `json:"detail,omitempty"` // why it failed
		Made    int       `json:"versions_made,omitempty"`
		Copies  []Copy    `json:"copies"`
		// Attention is all that wants a person now, old and new.
		Attention []attention.Item `json:"attention,omitempty"`
	}
)

// Copy is what a round brought to a copy, or found on it.
type Copy struct {
	Copy     string `json:"copy"`
	State    string `json:"state,omitempty"` // after a mirror round
	Versions int    `json:"versions,omitempty"`
	Files    int    `json:"files"` // stored, read back or mended
	Bytes    int64  `json:"bytes,omitempty"`
	Damaged  int    `json:"damaged,omitempty"` // and not mended
	Error    string `json:"error,omitempty"`
}

// DamageFound and DamageGone are about files of a copy, or of the working folder,
// that were found damaged since the last check, and that are so no longer.
type (
	DamageFound struct {
		Copy  string          `json:"copy"`
		Files int             `json:"files"`
		First []verify.Damage `json:"first"` // MostListed at most
	}
	DamageGone struct {
		Copy  string          `json:"copy"`
		Files int             `json:"files"`
		First []verify.Damage `json:"first"`
	}
)

// MostListed bounds how many files one event lists.
const MostListed = 20

// How a copy stands was another after the last round.
type (
	CopyWentAway struct {
		Copy  string `json:"copy"`
		State string `json:"state"` // away, unreachable or failed
		Error string `json:"error,omitempty"`
	}
	CopyCameBack struct {
		Copy string `json:"copy"`
	}
	CopyBecameCurrent struct {
		Copy string `json:"copy"`
	}
)

// AttentionArose and AttentionEnded are about one thing that wants a person.
type (
	AttentionArose struct{ attention.Item }
	AttentionEnded struct{ attention.Item }
)

// Waits is what a mirror round saw and did not record, for one reason.
type Waits struct {
	Reason string `json:"reason"`
	Person bool   `json:"needs_person"`
	Files  int    `json:"files"`
	Path   string `json:"path"` // the first
}

// Missed stands for events that a sink was too slow for.
type Missed struct {
	Events int `json:"events"`
}

func (RoundBegan) name() string        { return "round-began" }
func (RoundEnded) name() string        { return "round-ended" }
func (DamageFound) name() string       { return "damage-found" }
func (DamageGone) name() string        { return "damage-gone" }
func (CopyWentAway) name() string      { return "copy-went-away" }
func (CopyCameBack) name() string      { return "copy-came-back" }
func (CopyBecameCurrent) name() string { return "copy-became-current" }
func (AttentionArose) name() string    { return "attention-arose" }
func (AttentionEnded) name() string    { return "attention-ended" }
func (Waits) name() string             { return "waits" }
func (Missed) name() string            { return "missed" }
