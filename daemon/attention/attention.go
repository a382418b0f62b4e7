// Package attention says what of an archive wants a person: what it is, since when,
// and what to do next. Call [Of] with [Facts].
//
// It is data, not text on a screen. [Of] derives every [Item] from [Facts]: what
// the ledger remembers, what the settings say, how the last rounds went, and a
// quick look at the working folder and the copies. It is the only place where
// that is decided. Every report that carries attention (status, mirror, verify)
// takes it from here, so no two screens can disagree, and all is well only where
// the list is empty.
//
// Each item has a [Kind], so that a program need not read the sentences.
package attention

import (
	"slices"
	"time"
)

// Kind is what sort of thing wants a person.
type Kind string

// The kinds there are.
const (
	// What the working folder holds, and what is recorded of it.
	NotBrought    Kind = "not-brought-back" // new-machine was stopped on the way
	FolderGone    Kind = "folder-gone"      // the working folder is not there
	FolderEmpty   Kind = "folder-empty"     // it shows no file, and did
	NothingKept   Kind = "nothing-kept"     // no mirror round has kept anything yet
	NotRecorded   Kind = "not-recorded"     // files that a round should have recorded by now
	ChangeWaits   Kind = "change-waits"     // a change that may be harm waits for a person's word
	FileWaits     Kind = "file-waits"       // a file could not be read or kept
	ManyUnfiled   Kind = "many-unfiled"     // a large share of the photos has no site
	ClientQuiet   Kind = "client-quiet"     // nothing new of an archive that is only kept here, for too long
	NeverHere     Kind = "never-here"       // files on record that the working folder never had
	OtherRecorder Kind = "other-recorder"   // another computer records the archive
	RecordingHeld Kind = "recording-held"   // nothing new is recorded, for another reason

	// How the copies stand.
	CopyBehind      Kind = "copy-behind"      // it lacks something, and nothing is bringing it
	CopyAway        Kind = "copy-away"        // unplugged, and no other copy has everything
	CopyUnreachable Kind = "copy-unreachable" // out of reach, or away for longer than it may be
	CopyFailed      Kind = "copy-failed"      // reached, and refused or broken
	CopyShort       Kind = "copy-short"       // it cannot have some files
	CopyReturned    Kind = "copy-returned"    // it was given up, and is here again

	// What was found, and what did not run.
	Damage       Kind = "damage"        // bytes that are altered, gone, unreadable or foreign
	WentMissing  Kind = "went-missing"  // a copy lost what it held, and it was sent again
	SealBroken   Kind = "seal-broken"   // a copy is not as sealed
	VersionsLost Kind = "versions-lost" // versions on record, or a log of another history, that no copy has any more
	Standard     Kind = "standard"      // a copy breaks the storage standard
	CheckFailed  Kind = "check-failed"  // a copy could not be checked, or not to the end
	Years        Kind = "years"         // years that are short, skipped, recoverable or lost
	Findings     Kind = "findings"      // what else the last look at the years found
	RoundFailed  Kind = "round-failed"  // the last round of a kind could not be done
	DrillFailed  Kind = "drill-failed"  // a practice recovery from a copy did not find the right bytes
	DrillOverdue Kind = "drill-overdue" // none from a copy has passed for too long
	SheetOld     Kind = "sheet-old"     // the recovery sheet on paper no longer fits the copies
	RoundOverdue Kind = "round-overdue" // none has run for longer than the schedule says
	CannotLook   Kind = "cannot-look"   // nobody can say how the archive stands

	// Whether anybody hears of it.
	NoticeFault  Kind = "notice-fault"  // the settings of notices are at fault
	NoticeUnsent Kind = "notice-unsent" // no notice could be sent, for a day
)

// Item is one thing that wants a person. What and Next are sentences; a command
// line in them stands between backticks, as package say completes it.
type Item struct {
	Kind  Kind      `json:"kind"`
	What  string    `json:"what"`
	Since time.Time `json:"since"` // UTC, whole seconds
	Next  string    `json:"next"`

	// What it is about, where it is about one thing.
	Copy  string `json:"copy,omitempty"`
	ID    string `json:"copy_id,omitempty"` // the copy's, which a new name leaves as it is
	Round string `json:"round,omitempty"`
	Path  string `json:"path,omitempty"` // the first of the files
	Files int    `json:"files,omitempty"`
	Bytes int64  `json:"bytes,omitempty"`
}

// Key tells one item from another, from one look to the next.
func (i Item) Key() string { return string(i.Kind) + " " + i.ID + i.Round + i.about() }

// about tells apart what waits for several reasons.
func (i Item) about() string {
	switch i.Kind {
	case ChangeWaits, FileWaits, RecordingHeld, VersionsLost:
		return " " + i.What
	}
	return ""
}

// List is all that wants a person, most urgent first. A report embeds it, so
// that its JSON has the contract's attention.
type List struct {
	Attention []Item `json:"attention"`
}

// Wants reports whether anything does.
func (l List) Wants() bool { return len(l.Attention) > 0 }

// Without leaves out what a report has told in its own lines.
func (l List) Without(told func(Item) bool) List {
	return List{Attention: slices.DeleteFunc(slices.Clone(l.Attention), told)}
}
