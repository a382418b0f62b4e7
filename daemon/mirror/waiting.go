package mirror

import (
	"slices"
	"strings"

	"linecamp/daemon/attention"
	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/plan"
)

// Reasons a path waits, as the report gives them. Each ends where the sentence
// "waiting: …" ends, and names what to do where a person is needed.
const (
	ReasonFolder      = "nothing new was recorded: " // and why the working folder cannot be read
	ReasonNoCopy      = "no copy can be reached, so nothing new can be kept"
	ReasonCopied      = "it changed while it was being copied; the next round takes it"
	ReasonClock       = "the clock of this machine stands before the newest recorded version; set the clock"
	ReasonUnsealed    = "a copy has a version of this site that is not in the seal yet; the next round adds it"
	ReasonRemade      = "its record was lost on every copy and is made anew, and what people had put on file in it may be lost; where `linecamp verify` asks again about what was explained before, run `linecamp explain` again"
	ReasonHolderShort = "the copy where new versions are made lacks this site's earlier ones; see its line above"
)

// KindOf is what sort of thing waits for a reason.
func KindOf(reason string) attention.Kind {
	switch reason {
	case authority.AskTwin:
		return attention.OtherRecorder
	case ReasonNoCopy, ReasonClock:
		return attention.RecordingHeld
	}
	switch {
	case strings.HasPrefix(reason, ReasonFolder):
		return attention.FolderGone
	case strings.HasPrefix(reason, authority.ErrNotAuthor.Error()), strings.HasPrefix(reason, authority.OtherState):
		return attention.OtherRecorder
	case strings.HasPrefix(reason, unreadCopies), strings.Contains(reason, holdsALine), strings.Contains(reason, holdsAVersion),
		strings.HasPrefix(reason, writtenTo), strings.Contains(reason, authority.RecordsThere):
		return attention.RecordingHeld
	}
	return plan.KindOf(reason)
}

// How reasons begin, or what they say, that name a copy.
const (
	unreadCopies  = "this machine has not read every copy yet"
	holdsALine    = "may hold a line of the seal that no other copy has"
	holdsAVersion = "may hold its next version, or the beginning of it"
	writtenTo     = "another linecamp is writing to"
)

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
