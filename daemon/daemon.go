// Package daemon is what each command of the program calls. Begin with [Open]: the
// methods of the [Archive] it gives are the commands, such as Mirror, Verify, Mend,
// Restore and Status, and their reports are plain data (package show/text has the
// words). [Serve] runs the rounds on schedule.
//
// What a method does is in the room of its idea: how copies are opened in reach, how
// an archive stands in status, what a person decides in decide, camera cards in
// cameracard, the schedule in service. What they all stand on is in archive; who works
// on what, where several rounds are under way at once, is decided in turns. What
// happens is told as events (package event) to the sinks that [Options] name.
//
// A verify round mends on the copies what it found. The working folder is written to
// only by a person's own command.
package daemon

import (
	"bytes"
	"io"
	"slices"

	"linecamp/daemon/archive"
	"linecamp/daemon/attention"
	"linecamp/daemon/config"
	"linecamp/daemon/mend"
	"linecamp/daemon/mirror/report"
	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/restore"
)

// Options and Progress are what every round takes.
type (
	Options  = archive.Options
	Progress = archive.Progress
)

// Archive is one archive as this machine works on it. Its methods are the commands
// of the program; what they all stand on is the room archive.
type Archive struct {
	*archive.Archive
}

// Open opens an archive's state. It touches no copy.
func Open(cfg config.Archive, o Options) (*Archive, error) {
	a, err := archive.Open(cfg, o)
	if err != nil {
		return nil, err
	}
	return &Archive{a}, nil
}

// MirrorOptions says what a mirror round does beside the usual.
type MirrorOptions struct {
	Copy          string   // only this copy; "" for all
	AcceptChanges bool     // record the changes that wait for a person
	Why           string   // the reason that goes on file with an accepted change
	Who           string   // who accepted it; "" for the user this runs as
	Without       []string // names of copies to be given up for good
}

// What VerifyOptions.Only takes.
const (
	OnlyRot   = "rot"
	OnlyYears = "years"
)

// VerifyOptions says what is checked, and how.
type VerifyOptions struct {
	Copy  string // only this copy, or "working"; "" for all
	Only  string // OnlyRot, OnlyYears, or "" for both
	Quick bool
	Deep  bool   // decode the working folder's photos in full, where the years are judged
	Seal  string // a seal on paper, which each copy's log must bear out; "" for none
}

// MendOptions says what is mended.
type MendOptions struct {
	Copy string // only this copy, or "working"; "" for all
}

// RestoreOptions says what is brought back, and where to.
type RestoreOptions struct {
	Site         string // name, folder or slug, or the beginning of one
	Everything   bool   // instead of Site
	Into         string // the folder to restore into
	Year         string
	On           string // YYYY-MM-DD, the end of that local day, or RFC 3339
	EveryVersion bool
	From         string // a copy's name; "" for the nearest
}

// The reports of the rooms that do the work.
type (
	MendReport    = mend.Report
	HistoryReport = verify.History
	RestoreReport = restore.Report
)

// MirrorReport is what a mirror round did, and what wants a person after it.
type MirrorReport struct {
	report.Report
	attention.List
}

// Wants reports whether something wants a person.
func (r MirrorReport) Wants() bool { return r.Report.Wants() || r.List.Wants() }

// VerifyReport is what a check found, and what wants a person after it.
type VerifyReport struct {
	verify.Report
	attention.List
}

// Wants reports whether something wants a person.
func (r VerifyReport) Wants() bool { return r.Report.Wants() || r.List.Wants() }

// TallyReport is what the working folder holds.
type TallyReport struct {
	tally.Result
	Drafted
	Archive string `json:"-"`
	ids     func(*tally.Site) string
}

// Drafted says which site.toml were drafted, where that was asked for.
type Drafted struct {
	Written []WrittenSite `json:"written,omitempty"`
	Kept    []KeptSite    `json:"kept,omitempty"`
}

// WriteJSON writes the command contract's object, piece by piece: with each file
// spelled out it takes several times the memory of the tally.
func (r TallyReport) WriteJSON(w io.Writer) error {
	return r.Result.WriteJSON(w, struct {
		tally.Report
		Drafted
	}{r.Outline(r.Archive), r.Drafted}, r.ids)
}

// MarshalJSON is WriteJSON where the report is one of several.
func (r TallyReport) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	err := r.WriteJSON(&b)
	return b.Bytes(), err
}

// Wants is false: it is a look, and a mirror round says what waits for a person.
// Only a draft that was asked for and could not be written wants one.
func (r TallyReport) Wants() bool {
	return slices.ContainsFunc(r.Kept, func(k KeptSite) bool { return k.Failed })
}

// Report is what every round and command hands back: plain data, JSON as
// the command contract says, and whether something wants a person. Package
// daemon/show/text has the words for it.
type Report interface {
	Wants() bool
}
