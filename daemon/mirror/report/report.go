// Package report is what a mirror round tells: a [Report] of plain data, whose words
// daemon/show finds. [Report.Wants] says whether a person is needed; the Reason texts
// end the sentence "waiting: …"; [Edits] and [Departed] say what a new version changed
// that people should hear of.
package report

import (
	"cmp"
	"slices"
	"strings"

	"linecamp/daemon/alone"
	"linecamp/daemon/attention"
	"linecamp/daemon/link"
	"linecamp/daemon/mirror/gone"
	"linecamp/daemon/reach"
)

// CopyState says how one copy stands, and what this round brought to it.
type CopyState struct {
	Copy     string      `json:"copy"`
	State    string      `json:"state"`
	Versions int         `json:"versions"`            // committed there in this round
	Files    int         `json:"files"`               // people's files stored there in this round
	Bytes    int64       `json:"bytes"`               // and their size
	Missing  []string    `json:"missing,omitempty"`   // files committed without their bytes, which nobody has
	TooLarge []string    `json:"too_large,omitempty"` // files that its file system cannot hold, of this round and of earlier ones
	Gone     []gone.Gone `json:"gone,omitempty"`      // what was there once, and was found missing
	Error    string      `json:"error,omitempty"`
	Kept     string      `json:"kept,omitempty"` // why the limits of its link keep something back for now
	// ToGo and Link are what is still to go over such a link, and how long that takes.
	ToGo *attention.Amount `json:"to_go,omitempty"`
	Link *link.Outlook     `json:"link,omitempty"`
	Note string            `json:"note,omitempty"` // what is as it should be, and still worth a sentence
}

// Through reports whether nothing is left to bring to the copy that it could hold.
func (c CopyState) Through() bool {
	return c.State == reach.Current || c.State == reach.Behind && len(c.TooLarge) > 0 && strings.HasPrefix(c.Error, "short of ")
}

// GettingThere reports whether nothing but the limits of its link keeps the copy behind.
func (c CopyState) GettingThere() bool {
	return c.State == reach.Behind && c.Error == "" && c.Kept != ""
}

// Waiting is a path that was seen and not recorded yet.
type Waiting struct {
	Kind   attention.Kind `json:"kind"` // what a person is told by it
	Path   string         `json:"path"`
	Raw    string         `json:"-"` // the path as your folder has it, which may be no text
	Reason string         `json:"reason"`
	Person bool           `json:"needs_person"` // false: it settles by itself
}

// Edit is a photo of a past year that was changed and recorded anew. That is
// rarely meant; the bytes it had before are kept.
type Edit struct {
	Site  string `json:"site"` // as a command line names it
	Path  string `json:"path"`
	Visit string `json:"visit"` // its day or year
}

// HeldUp is a site whose next version cannot be made, because a copy out of
// reach, or one that fails, may hold that version already. Object is "" where
// every site waits.
type HeldUp struct {
	Object  string `json:"object,omitempty"`
	Version int    `json:"version,omitempty"`
	Copy    string `json:"copy"`
	Reason  string `json:"reason"`
}

// Report is what `linecamp mirror` says.
type Report struct {
	Archive string      `json:"archive"`
	Copies  []CopyState `json:"copies"`
	Waiting []Waiting   `json:"waiting"`
	HeldUp  []HeldUp    `json:"held_up,omitempty"` // what waits for a copy that cannot be asked
	Made    int         `json:"versions_made"`     // new versions authored in this round
	// Left is how many files these versions no longer have: they left the working
	// folder, or have another name there. Every copy keeps them.
	Left  int    `json:"left_folder,omitempty"`
	Edits []Edit `json:"edits,omitempty"`
	// GivenUp are the copies that a person gave up with this round, with what each
	// alone was known to hold.
	GivenUp []alone.Report `json:"given_up,omitempty"`
	Asks    []Ask          `json:"asks,omitempty"` // what a person is asked, though nothing waits for it
}

// Wants reports whether something in r wants a person: a copy that is neither
// current nor merely away, a change that waits for someone's word, or a question.
func (r Report) Wants() bool {
	for _, c := range r.Copies {
		if c.State != reach.Current && c.State != reach.Away && !c.GettingThere() || len(c.Missing)+len(c.Gone) > 0 {
			return true
		}
	}
	return len(r.Asks) > 0 || slices.ContainsFunc(r.Waiting, func(w Waiting) bool { return w.Person })
}

// Settle puts what the round told into one order, and says each thing once.
func (r *Report) Settle() {
	if r.Waiting == nil {
		r.Waiting = []Waiting{}
	}
	slices.SortStableFunc(r.Waiting, func(a, b Waiting) int {
		return cmp.Or(strings.Compare(a.Path, b.Path), strings.Compare(a.Reason, b.Reason))
	})
	r.Waiting = slices.Compact(r.Waiting)
	slices.SortFunc(r.Edits, func(a, b Edit) int { return strings.Compare(a.Path, b.Path) })
}
