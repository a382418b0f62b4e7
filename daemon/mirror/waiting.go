package mirror

import (
	"slices"
	"strings"

	"linecamp/daemon/attention"
)

// Reasons a path waits, as the report gives them. Each ends where the sentence
// "waiting: …" ends, and names what to do where a person is needed.
const (
	ReasonFolder      = "nothing new was recorded: " // and why the working folder cannot be read
	ReasonNoCopy      = "no copy can be reached, so nothing new can be kept"
	ReasonDamaged     = "its bytes changed though size and time did not, which looks like damage; `linecamp mend` brings the good bytes back"
	ReasonCopied      = "it changed while it was being copied; the next round takes it"
	ReasonClock       = "the clock of this machine stands before the newest recorded version; set the clock"
	ReasonEmpty       = "the working folder shows no file at all; see whether the right disk is mounted"
	ReasonDevice      = "the working folder is on another disk than last time and files are missing there; look, then run `linecamp mirror --accept-changes`"
	ReasonUnproven    = "its bytes and its time differ from what is recorded, and this machine does not remember it from before; look, then run `linecamp mirror --accept-changes`"
	ReasonMass        = "more than a fifth of the known files changed or vanished at once; look, then run `linecamp mirror --accept-changes`"
	ReasonAgain       = "over a tenth of the archive would be stored again under another site; look at the folder names, then run `linecamp mirror --accept-changes`"
	ReasonBehind      = "its site's folder has another name now, and a file that waits was left behind under the old one; see to that file first"
	ReasonHidden      = "its site's folder has another name now, and not all of it can be read yet; the next round looks again"
	ReasonMoving      = "it is gone, and may be what stands under another name in this folder and cannot be read yet; the next round looks again"
	ReasonMoved       = "its bytes are on record under another name, which is not seen now; once it is sure that one is gone, both are recorded together"
	ReasonSeveral     = "this folder holds pictures of several sites whose folders vanished; put them back under their own names, or run `linecamp mirror --accept-changes`"
	ReasonInventory   = "no copy in reach has this site's manifest; bring the copies within reach"
	ReasonUnsealed    = "a copy has a version of this site that is not in the seal yet; the next round adds it"
	ReasonRemade      = "its record was lost on every copy and is made anew, and what people had put on file in it may be lost; where `linecamp verify` asks again about what was explained before, run `linecamp explain` again"
	ReasonOvertaken   = "another round recorded in the bucket meanwhile; the next one goes on from there"
	ReasonHolderShort = "the copy where new versions are made lacks this site's earlier ones; see its line above"
)

// KindOf is what sort of thing waits for a reason.
func KindOf(reason string) attention.Kind {
	switch reason {
	case ReasonEmpty:
		return attention.FolderEmpty
	case ReasonDevice, ReasonUnproven, ReasonMass, ReasonAgain, ReasonSeveral:
		return attention.ChangeWaits
	case AskUnfiled:
		return attention.ManyUnfiled
	case AskTwin:
		return attention.OtherRecorder
	case ReasonNoCopy, ReasonClock:
		return attention.RecordingHeld
	}
	switch {
	case strings.HasPrefix(reason, ReasonFolder):
		return attention.FolderGone
	case strings.HasPrefix(reason, ErrNotAuthor.Error()), strings.HasPrefix(reason, otherState):
		return attention.OtherRecorder
	case strings.HasPrefix(reason, unreadCopies), strings.Contains(reason, holdsALine), strings.Contains(reason, holdsAVersion),
		strings.HasPrefix(reason, writtenTo), strings.Contains(reason, recordsThere):
		return attention.RecordingHeld
	}
	return attention.FileWaits
}

// How reasons begin, or what they say, that name a copy.
const (
	unreadCopies  = "this machine has not read every copy yet"
	holdsALine    = "may hold a line of the seal that no other copy has"
	holdsAVersion = "may hold its next version, or the beginning of it"
	writtenTo     = "another linecamp is writing to"
	recordsThere  = "another state folder with this one's name is recording"
	otherState    = "another state folder records this archive"
)

// AskUnfiled is what a report asks where nothing waits for the answer.
const AskUnfiled = "over a fifth of the photos have no site, so the folder may not be understood, though all of them are kept; see `linecamp tally`, set `layout` in the settings, or say that it is right with `linecamp mirror --accept-changes`"

// inquire puts a question into the report.
func (r *round) inquire(question string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if !slices.Contains(r.report.Asks, question) {
		r.report.Asks = append(r.report.Asks, question)
	}
}

func (r *round) wait(path, reason string, person bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.report.Waiting = append(r.report.Waiting, Waiting{Path: path, Reason: reason, Person: person})
}
