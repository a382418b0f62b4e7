package report

import (
	"strings"

	"linecamp/daemon/attention"
	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/lost"
	"linecamp/daemon/mirror/plan"
)

// Reasons a path waits, as the report gives them. Each ends where the sentence
// "waiting: …" ends, and names what to do where a person is needed.
const (
	ReasonFolder      = "nothing new was recorded: " // and why the working folder cannot be read
	ReasonNoCopy      = "no copy can be reached, so nothing new can be kept"
	ReasonCopied      = "it changed while it was being copied; the next round takes it"
	ReasonLink        = "the only copy in reach is a bucket, so nothing more is recorded for now: "
	ReasonClock       = "the clock of this computer stands before the newest recorded version; set the clock"
	ReasonUnsealed    = "a copy has a version of this site that is not in the seal yet; the next round adds it"
	ReasonRemade      = "its record was lost on every copy and is made anew, and what people had put on file in it may be lost; where `linecamp verify` asks again about what was explained before, run `linecamp explain` again"
	ReasonOther       = "a copy in reach has versions of this site that another history recorded, and they are taken in first; see its line above"
	ReasonHolderShort = "the copy where new versions are made lacks this site's earlier ones; see its line above"
)

// Ask is what a person is asked though nothing waits for the answer.
type Ask string

// Kind is what sort of question it is.
func (a Ask) Kind() attention.Kind {
	if a == authority.AskTwin {
		return attention.OtherRecorder
	}
	if strings.Contains(string(a), lost.Told) {
		return attention.VersionsLost
	}
	return plan.KindOf(string(a))
}
