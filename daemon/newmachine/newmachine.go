// Package newmachine brings a computer that knows nothing back to work from one copy.
// Call [Look], which says what is on the copy, then [Found.Settle], which decides
// everything, and then [Settled.Run]: only that writes anything.
//
// Run can be killed at any moment and called again. It goes in this order, and each step
// does nothing where it was done before:
//
//  1. A mark in the state folder says which copy is brought back, and into which folder.
//     It is what tells a folder that this began to fill from one of somebody else's.
//  2. The files: the site that is wanted first, the newest visits of all, then the rest.
//     What is there already with the right bytes stays.
//  3. The settings, with all copies that are said to exist.
//  4. This computer becomes the one that records. Until then it makes no version, so no
//     half of a folder is ever taken for the whole.
//  5. The mark goes.
//
// Each site comes back as it was in the working folder, so that the next round finds
// nothing to record. What had left the folder before stays on the copy; `restore` has it.
//
// The settings on a copy are untrusted (see package carried). A bucket that they name gets
// no key before a person confirmed its address; what nobody confirmed stands in the
// settings without keys.
package newmachine

import (
	"errors"
	"log/slog"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/attention"
	"linecamp/daemon/config"
	"linecamp/daemon/reach"
	"linecamp/verify/restore"
)

// Options say where from and where to.
type Options struct {
	From      reach.RootAccess
	Into      string // the working folder to be
	Archive   string // its name, where a person gave it; "" takes the copy's
	First     string // the site that comes first: name, folder or slug; "" for none
	Config    string // the settings file to be, or the folder for it; "" for the usual place
	Keys      Keys   // of From, where it is a bucket and a person typed them in
	OneWriter bool   // a person vouches that only this machine writes to the buckets
	Log       *slog.Logger
	Now       func() time.Time // nil for time.Now
}

// What a caller may want to decide on. Each error's message says what to do.
var (
	// ErrHalf: it is the half of a copy, from which a machine cannot go on.
	ErrHalf = errors.New("not a whole copy")
	// ErrOther: it is a copy of another archive than the one that was named.
	ErrOther = errors.New("a copy of another archive")
	// ErrKnown: this machine looks after the archive already.
	ErrKnown = errors.New("this computer has settings for it already")
	// ErrNotEmpty: the folder that the photos are to go to holds something else.
	ErrNotEmpty = errors.New("the folder is not empty")
	// ErrSpace: the disk is too small.
	ErrSpace = errors.New("the disk is too small")
	// ErrAnswers: an answer cannot be used.
	ErrAnswers = errors.New("cannot be used")
)

// Report is what came back, and what is known and did not.
type Report struct {
	Archive  string           `json:"archive"`
	Into     string           `json:"into"`
	Settings string           `json:"settings"` // the file
	Files    int              `json:"files"`
	Bytes    int64            `json:"bytes"`
	Already  int              `json:"already"` // of Files: there already
	Failed   []restore.Failed `json:"failed"`
	NotHere  NotHere          `json:"not_here"`
	Copies   []Copy           `json:"copies"`
	Machine  string           `json:"machine"`
	Was      string           `json:"was,omitempty"` // the machine that recorded before
	Trouble  []string         `json:"trouble,omitempty"`
	attention.List
}

// NotHere is what is known to exist, and is not on the copy.
type NotHere struct {
	Versions []Version `json:"versions"`
	Files    []string  `json:"files"`
	More     int       `json:"more"`           // files that the list only counts
	AsOf     time.Time `json:"as_of,omitzero"` // when the list was made; zero for no list
	Machine  string    `json:"machine,omitempty"`
}

// Version is one that the seal names.
type Version struct {
	Site    string `json:"site"`
	Object  string `json:"object"`
	Version int    `json:"version"`
	Years   []int  `json:"years"` // in which it was recorded
}

// Copy is one that is said to exist.
type Copy struct {
	Copy  string `json:"copy"`
	Kind  string `json:"kind"`
	Place string `json:"place"` // "" where it is not known
	State string `json:"state"`
}

// States of copies in a Report, beside those of package reach.
const (
	Source      = "source"        // everything came from it
	Unconfirmed = "not confirmed" // nobody confirmed its address
	Here        = "here"          // within reach
)

// Wants reports whether something that is known is missing.
func (r Report) Wants() bool {
	return len(r.Failed)+len(r.NotHere.Versions)+len(r.NotHere.Files)+r.NotHere.More > 0
}

// Progress is told how far Run is, in bytes.
type Progress = archive.Progress

// Confirm asks a person whether a bucket that only the copy's settings name is theirs.
type Confirm func(c config.Copy) (Keys, error)

// Keys say how a bucket is entered. The zero value is no: no key is sent there.
type Keys struct {
	Credentials string // "env" or a file
	// Access and Secret are keys that a person typed in; they go into a file only its
	// owner can read, beside the settings.
	Access, Secret string
}
