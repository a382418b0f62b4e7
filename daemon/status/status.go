// Package status says how an archive stands. Begin with [Of], one look at all of it.
// What wants a person is gathered in [Attend], which every round calls when it comes to
// its end; how one copy stands is decided in standing.go, what it holds in named.go, when a round is overdue in
// rounds.go, and what of the working folder is not recorded in see.go. [TellChanges]
// tells as events what is another way than before.
package status

import (
	"context"
	"fmt"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/attention"
	"linecamp/daemon/drill"
	"linecamp/daemon/keys"
	"linecamp/daemon/ledger"
	"linecamp/daemon/link"
	"linecamp/daemon/reach"
	"linecamp/daemon/samedisk"
	"linecamp/daemon/service"
	"linecamp/daemon/sheet"
	"linecamp/manifest/store"
	"linecamp/verify"
)

// Status is one look at an archive, from what the ledger remembers and a
// glance at each copy. Nothing is read again for it.
type Status struct {
	Archive string       `json:"archive"`
	Name    string       `json:"name,omitempty"` // as people write it
	Copies  []CopyStatus `json:"copies"`
	Damage  int          `json:"damage"`
	Years   YearCounts   `json:"years"`
	// YearsJudged is when the years were last judged; null for never.
	YearsJudged *time.Time          `json:"years_judged"`
	Next        []service.NextRound `json:"next"`
	// Last are the newest rounds, and Service is whether one runs them here.
	Last    []PastRound   `json:"last"`
	Service service.State `json:"service"`
	// Unrecorded is what the working folder holds and no version has yet.
	Unrecorded attention.Amount `json:"unrecorded"`
	// SheetPrinted is when the recovery sheet was last put on file as printed;
	// null for never.
	SheetPrinted *time.Time `json:"sheet_printed"`
	// Notes are worth knowing, and ask for nothing at once.
	Notes []string `json:"notes,omitempty"`
	attention.List
	// AsOf is when this was so, where nobody looked again; see Lately.
	AsOf *time.Time `json:"as_of,omitempty"`
	Now  time.Time  `json:"-"` // of the look
}

// CopyStatus is how one copy stands. Files and Bytes are what is known to be
// there; ReadBack is the share of it that was once read back and matched, and
// Confirmed the rest that the service only vouches for.
type CopyStatus struct {
	Copy  string `json:"copy"`
	Kind  string `json:"kind"`
	Where string `json:"where,omitempty"` // where it is kept, in the office's words
	State string `json:"state"`
	// LastCurrent is when it last had everything, LastSeen when it was last
	// within reach; null for never.
	LastCurrent *time.Time `json:"last_current"`
	LastSeen    *time.Time `json:"last_seen"`
	// LastVerified is the oldest read-back among its files, so nothing on it
	// was read longer ago; null until every file was read back.
	LastVerified *time.Time `json:"last_verified"`
	// LastDrill is when a practice recovery from it last passed; null for never.
	// Key is what is known of the key of a bucket; absent for a drive.
	Key       *keys.Known `json:"key,omitempty"`
	LastDrill *time.Time  `json:"last_drill"`
	// DrillFailed is the last one, where it did not pass.
	DrillFailed *DrillFailed `json:"drill_failed,omitempty"`
	Files       int          `json:"files"`
	Bytes       int64        `json:"bytes"`
	ReadBack    ReadBack     `json:"read_back"`
	Confirmed   int          `json:"confirmed"`
	// ToGo is what is recorded and not there yet.
	ToGo attention.Amount `json:"to_go"`
	// Link is how long that takes over a link that the settings limit.
	Link  *link.Outlook `json:"link,omitempty"`
	Fence string        `json:"fence,omitempty"` // "none": one writer only by a person's word
	Error string        `json:"error,omitempty"`
	Note  string        `json:"note,omitempty"` // where a drive was found, if not at its place
}

// DrillFailed is a practice recovery that did not pass.
type DrillFailed struct {
	At    time.Time  `json:"at"`
	Step  drill.Step `json:"step"`
	Error string     `json:"error"`
}

// ReadBack is the share of a copy whose bytes were once read back, and when the
// one of them that was read longest ago was; null where none was.
type ReadBack struct {
	Files  int        `json:"files"`
	Bytes  int64      `json:"bytes"`
	Oldest *time.Time `json:"oldest"`
}

// YearCounts is how many years are in each state.
type YearCounts struct {
	Whole       int `json:"whole"`
	Short       int `json:"short"`
	Skipped     int `json:"skipped"`
	Recoverable int `json:"recoverable"`
	Lost        int `json:"lost"`
	Due         int `json:"due"`
	Explained   int `json:"explained"`
}

func begun(a *archive.Archive) Status {
	return Status{Archive: a.Config.Name, Name: a.Config.Title, Copies: []CopyStatus{}, Last: []PastRound{}, Now: a.Now()}
}

// Of looks at the archive. A copy that does not answer in a few seconds is
// told as such, with the age of what is known.
func Of(ctx context.Context, a *archive.Archive) (Status, error) {
	s, l := begun(a), a.BeginLook()
	defer l.End()
	r, err := a.Reach(ctx, a.Config.Copies, reach.Glance)
	if err != nil {
		return s, err
	}
	defer r.Close()
	o, err := Attend(ctx, a, r, "", nil)
	if err != nil {
		return s, err
	}
	if err := s.compose(a, r, o); err != nil {
		return s, err
	}
	return s, keep(a, l, s, o)
}

// compose tells what the outlook came to.
func (s *Status) compose(a *archive.Archive, r *reach.Copies, o Outlook) error {
	s.List, s.Service = o.List, o.service
	s.Unrecorded.Files, s.Unrecorded.Bytes = o.seen.Unrecorded()
	names, err := recallNamed(a)
	if err != nil {
		return err
	}
	for i, h := range r.All {
		c, err := copyStatus(a, h, o.standings[i], names)
		if err != nil {
			return fmt.Errorf("the ledger: %w", err)
		}
		s.Copies = append(s.Copies, c)
	}
	if err := names.remember(); err != nil {
		return err
	}
	damage, err := a.Damage()
	if err != nil {
		return err
	}
	s.Damage = len(damage)
	counts, judged, err := a.Ledger.Years()
	if err != nil {
		return fmt.Errorf("the ledger: %w", err)
	}
	s.YearsJudged = moment(judged)
	s.Years = YearCounts{
		Whole: counts[verify.Whole], Short: counts[verify.Short], Skipped: counts[verify.Skipped],
		Recoverable: counts[verify.Recoverable], Lost: counts[verify.Lost],
		Due: counts[verify.Due], Explained: counts[verify.Explained],
	}
	if s.Last, s.Next, err = pastAndNext(a, s.Now); err != nil {
		return err
	}
	printed, _, err := sheet.Printed(a)
	if err != nil {
		return err
	}
	s.SheetPrinted = moment(printed)
	var drives []samedisk.Drive
	for _, h := range r.Open() {
		if at, ok := h.Root.(store.Placed); ok {
			drives = append(drives, samedisk.Drive{Name: h.Name, Folder: at.Folder()})
		}
	}
	s.Notes = samedisk.Notes(a.Config.Folder, drives)
	for _, c := range s.Copies {
		if c.Key != nil {
			s.Notes = append(s.Notes, c.Key.Advice(c.Copy)...)
		}
	}
	if said := keys.Shared(a.Config.Copies); said != "" {
		s.Notes = append(s.Notes, said)
	}
	return nil
}

func copyStatus(a *archive.Archive, h *reach.Copy, now standing, names *named) (CopyStatus, error) {
	figures, err := names.figures(h.ID)
	if err != nil {
		return CopyStatus{}, err
	}
	c := CopyStatus{
		Copy: h.Name, Kind: h.Kind, Where: h.Copy.Where,
		LastCurrent: moment(h.Seen.LastCurrent), LastSeen: moment(h.Seen.LastReachable),
		Files: figures.Files, Bytes: figures.Bytes,
		ReadBack:  ReadBack{Files: figures.ReadBackFiles, Bytes: figures.ReadBackBytes, Oldest: moment(figures.OldestReadBack)},
		Confirmed: figures.Confirmed,
	}
	if figures.Files > 0 && figures.ReadBackFiles == figures.Files {
		c.LastVerified = moment(figures.OldestReadBack)
	}
	if h.Copy.Fence == "none" {
		c.Fence = "none"
	}
	if c.Key, err = keys.Of(a, h.Copy); err != nil {
		return c, err
	}
	c.LastDrill = moment(now.drills.Success)
	if !now.drills.Tried.IsZero() {
		c.DrillFailed = &DrillFailed{At: now.drills.Tried, Step: now.drills.Step, Error: now.drills.Failure}
	}
	c.State, c.Error, c.Note, c.ToGo = now.state, now.err, now.note, now.toGo
	c.Link = now.link
	return c, nil
}

func lastError(s ledger.CopySeen) string {
	if s.Error == "" {
		return "the last mirror round failed on it"
	}
	return "in the last round: " + s.Error // it may have been seen to since
}

func moment(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC().Truncate(time.Second)
	return &t
}
