package report

import (
	"strings"

	"linecamp/daemon/attention"
	"linecamp/daemon/authority"
	"linecamp/daemon/mirror/lost"
	"linecamp/daemon/mirror/plan"
)

// Reasons a path waits, as the report gives them. Each ends where the sentence
// "waiting: …" ends, holds of one file and of many, and names what to do where a
// person is needed.
const (
	ReasonFolder      = "nothing new was recorded: " // and why the working folder cannot be read
	ReasonNoCopy      = "no copy can be reached, so nothing new can be kept"
	ReasonCopied      = "changed while linecamp was copying; the next round looks again"
	ReasonLink        = "the only copy in reach is a bucket, so nothing more is recorded for now: "
	ReasonClock       = "the clock of this computer stands before the newest recorded version; set the clock"
	ReasonUnsealed    = "a copy has a version of the site that is not in the seal yet; the next round adds that"
	ReasonRemade      = "the site's record was lost on every copy, so linecamp made a new one, and what people had put on file there may be lost; where `linecamp verify` asks again about what was explained before, run `linecamp explain` again"
	ReasonOther       = "a copy in reach has versions of this site, of another history, and linecamp takes those in first; see the line of that copy"
	ReasonHolderShort = "the copy where new versions are made lacks the site's earlier ones; see the line of that copy"
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
