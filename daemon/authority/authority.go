// Package authority settles who records an archive, and which seal is the
// archive's. A round makes a [Recorder] and calls its methods in this order:
//
//	Ask      who does each copy in reach name? Before anything else is read
//	Seals    which seal is the archive's, and which copies tell another
//	Claim    may this machine make versions; every copy in reach says so now
//	Begin    names this round in each bucket, before the first line
//	Recheck  before each version: did another machine take over meanwhile?
//	End      takes the round's name from a bucket that has all there is
//
// [TakeOver] makes this machine the one that records. What a state folder has to
// remember for all this is written and read by the functions of notes.go.
//
// An archive has one author, named in author.json on every copy, with an epoch
// that grows with each take-over. A drive is locked while a round is at it. A
// bucket knows no locks, and names an author, which a state folder that was copied
// is as well. So in a bucket the round that records names itself: author.json has
// its id, from before its first line until the bucket's seal has its last. The name
// is put there on condition that nobody else was named since the round began to
// look, so of two rounds one records, and the other leaves it for this time. A
// round that ended on the way stays named; its own state goes on where it stopped,
// and any other waits for a person's word.
package authority

import (
	"errors"
	"fmt"

	"linecamp/daemon/attention"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

// ErrNotAuthor: another machine makes this archive's versions. Decide on it
// with errors.Is; the message names the machine and what to do.
var ErrNotAuthor = errors.New("another computer records this archive")

// ErrHoldOff: nothing may be recorded in this round; what Wait was told says why.
var ErrHoldOff = errors.New("nothing may be recorded in this round")

// ErrNewer: a newer linecamp recorded there, so this one writes nothing.
var ErrNewer = errors.New("its seal was written by a newer linecamp, so this one writes nothing there; use the newer program here, too")

// What Wait and Question are told.
const (
	// Overtaken is why a round stops recording that another one went by.
	Overtaken = "another round recorded in the bucket meanwhile; the next one goes on from there"
	// AskTwin is asked where a bucket shows that another state recorded as this one.
	AskTwin = "another state folder recorded under this one's name, so this computer was put back from a backup, or a copy of it is running; if it was put back, say so with `linecamp mirror --accept-changes`, else run `linecamp setup --take-over` on the one that is to go on recording"
)

// Copy is a copy of the archive, as far as it matters who records there.
type Copy struct {
	ID, Name string
	Root     store.Root        // nil where it could not be opened
	Answers  bool              // without a Root: something answered, and a person has to see to it
	Usable   func() bool       // in this round, until now
	CanRead  func() bool       // also one that takes no more in this round
	Fail     func(error)       // what ends its part in the round
	Note     func(text string) // what was put right there; may be nil
}

// Can tells what the copy can do. Where it is Shared, no lock keeps others out, so the
// round that records is named there.
func (c Copy) Can() store.Abilities { return store.CanOf(c.Root) }

// Recorder is one state folder in one round that may record.
type Recorder struct {
	Archive  string // the archive's uuid
	Author   string // the uuid of this state folder
	Machine  string // this machine's name, for people
	Accepted bool   // a person said that what looks odd is meant
	Copies   []Copy // in the settings' order
	Notes    Notes
	Sync     func() error                                          // has the notes outlive a power cut
	Seal     func() *seal.Seal                                     // the archive's, as it is now
	Wait     func(kind attention.Kind, reason string, person bool) // why nothing is recorded
	Question func(question string)

	parted map[int]bool // the copies with another history
	named  []named      // who each copy names, by its place in Copies
	round  string       // the name under which this round records in buckets, once it does
}

// named is who a copy says records the archive; the zero value where it names
// nobody yet, or was not asked.
type named struct {
	store.Author
	asked  bool
	was    *store.Info // what a claim replaces
	rotted bool        // that names nobody, for its bytes rotted
}

func (r *Recorder) notAuthor(machine string) error {
	who := fmt.Sprintf("%v: %s", ErrNotAuthor, machine)
	if machine == "" { // nothing in reach tells its name
		who = ErrNotAuthor.Error()
	}
	said := fmt.Sprintf("%s. This one may verify, mend and restore; to record here from now on, run `linecamp setup --take-over`", who)
	if machine == r.Machine {
		said = fmt.Sprintf("another state folder records this archive, also of a computer called %s; if that one is no more, since it was lost or this computer was put back from a backup, run `linecamp setup --take-over`. Until then this one may verify, mend and restore", machine)
	}
	if stepped, err := noted(r.Notes, steppedKey); err != nil {
		return err
	} else if stepped {
		said = fmt.Sprintf("%s. Its history of the archive goes on, and the one recorded here does not; nothing of that is lost. If you go on there, file this folder there with `linecamp intake`; if you go on here, run `linecamp setup --take-over`", who)
	}
	r.Wait(attention.OtherRecorder, said, true)
	return ErrHoldOff
}

// unfinished tells that this machine's take-over was stopped before its line.
func (r *Recorder) unfinished() error {
	r.Wait(attention.OtherRecorder, "this computer began to take this archive over and was stopped before it was done; run `linecamp setup --take-over` again", true)
	return ErrHoldOff
}

// epoch is the epoch this machine records in: 1 until the seal has an author
// line, which sealed tells, then that line's; 0 where the line names another machine.
func (r *Recorder) epoch() (epoch int, sealed bool) {
	switch author, e := r.Seal().Author(); author {
	case "":
		return 1, false
	case r.Author:
		return e, true
	}
	return 0, true
}
