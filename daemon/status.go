package daemon

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"
	"time"

	"linecamp/daemon/attention"
	"linecamp/daemon/config"
	"linecamp/daemon/ledger"
	"linecamp/daemon/mirror"
	"linecamp/daemon/reach"
	"linecamp/daemon/samedisk"
	"linecamp/daemon/service"
	"linecamp/manifest"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// Status is one look at an archive, from what the ledger remembers and a
// glance at each copy. Nothing is read again for it.
type Status struct {
	Archive string       `json:"archive"`
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
	now time.Time
}

// CopyStatus is how one copy stands. Files and Bytes are what is known to be
// there; ReadBack is the share of it that was once read back and matched, and
// Confirmed the rest that the service only vouches for.
type CopyStatus struct {
	Copy  string `json:"copy"`
	Kind  string `json:"kind"`
	State string `json:"state"`
	// LastCurrent is when it last had everything, LastSeen when it was last
	// within reach; null for never.
	LastCurrent *time.Time `json:"last_current"`
	LastSeen    *time.Time `json:"last_seen"`
	// LastVerified is the oldest read-back among its files, so nothing on it
	// was read longer ago; null until every file was read back.
	LastVerified *time.Time `json:"last_verified"`
	Files        int        `json:"files"`
	Bytes        int64      `json:"bytes"`
	ReadBack     ReadBack   `json:"read_back"`
	Confirmed    int        `json:"confirmed"`
	// ToGo is what is recorded and not there yet.
	ToGo  attention.Amount `json:"to_go"`
	Fence string           `json:"fence,omitempty"` // "none": one writer only by a person's word
	Error string           `json:"error,omitempty"`
	Note  string           `json:"note,omitempty"` // where a drive was found, if not at its place
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

// Status looks at the archive. A copy that does not answer in a few seconds is
// told as such, with the age of what is known.
func (a *Archive) Status(ctx context.Context) (Status, error) {
	s := Status{Archive: a.Config.Name, Copies: []CopyStatus{}, Last: []PastRound{}, now: a.Now()}
	r, err := a.Reach(ctx, a.Config.Copies, reach.Glance)
	if err != nil {
		return s, err
	}
	defer r.Close()
	o, err := a.attend(ctx, r, "")
	if err != nil {
		return s, err
	}
	s.List, s.Service = o.List, o.service
	s.Unrecorded.Files, s.Unrecorded.Bytes = o.seen.Unrecorded()
	for i, h := range r.All {
		c, err := a.copyStatus(h, o.standings[i])
		if err != nil {
			return s, fmt.Errorf("the ledger: %w", err)
		}
		s.Copies = append(s.Copies, c)
	}
	damage, err := a.Damage()
	if err != nil {
		return s, err
	}
	s.Damage = len(damage)
	counts, judged, err := a.Ledger.Years()
	if err != nil {
		return s, fmt.Errorf("the ledger: %w", err)
	}
	s.YearsJudged = moment(judged)
	s.Years = YearCounts{
		Whole: counts[verify.Whole], Short: counts[verify.Short], Skipped: counts[verify.Skipped],
		Recoverable: counts[verify.Recoverable], Lost: counts[verify.Lost],
		Due: counts[verify.Due], Explained: counts[verify.Explained],
	}
	if s.Last, s.Next, err = a.pastAndNext(s.now); err != nil {
		return s, err
	}
	printed, _, err := a.printedSheet()
	if err != nil {
		return s, err
	}
	s.SheetPrinted = moment(printed)
	var drives []samedisk.Drive
	for _, h := range r.Open() {
		if h.Kind == config.KindDrive {
			drives = append(drives, samedisk.Drive{Name: h.Name, Folder: h.Root.Name()})
		}
	}
	s.Notes = samedisk.Notes(a.Config.Folder, drives)
	return s, nil
}

// heads is the newest recorded version of every object, by slug, as the state
// folder knows it.
func (a *Archive) heads() (map[string]int, error) {
	seal, err := a.Cache.Seal()
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("the seal in the state folder: %w", err)
	}
	heads := map[string]int{}
	for id, n := range seal.Heads() {
		if _, slug, err := manifest.ParseObjectID(id); err == nil {
			heads[slug] = n
		}
	}
	return heads, nil
}

func (a *Archive) copyStatus(h *reach.Copy, now standing) (CopyStatus, error) {
	figures, err := a.Ledger.Figures(h.ID)
	if err != nil {
		return CopyStatus{}, err
	}
	c := CopyStatus{
		Copy: h.Name, Kind: h.Kind,
		LastCurrent: moment(h.Seen.LastCurrent), LastSeen: moment(h.Seen.LastReachable),
		Files: figures.Files, Bytes: figures.Bytes,
		ReadBack:  ReadBack{Files: figures.ReadBackFiles, Bytes: figures.ReadBackBytes, Oldest: moment(figures.OldestReadBack)},
		Confirmed: figures.Confirmed,
	}
	if figures.Files > 0 && figures.ReadBackFiles == figures.Files {
		c.LastVerified = moment(figures.OldestReadBack)
	}
	if h.Kind == config.KindS3 && h.Copy.Fence == "none" {
		c.Fence = "none"
	}
	c.State, c.Error, c.Note, c.ToGo = now.state, now.err, now.note, now.toGo
	return c, nil
}

func lastError(s ledger.CopySeen) string {
	if s.Error == "" {
		return "the last mirror round failed on it"
	}
	return s.Error
}

func moment(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC().Truncate(time.Second)
	return &t
}

// Print writes the status for a person.
func (s Status) Print(w io.Writer) {
	line := words.Of(w)
	fmt.Fprintf(w, "%s\n", s.Archive)
	width := 0
	for _, c := range s.Copies {
		width = max(width, len(c.Copy))
	}
	for _, c := range s.Copies {
		fmt.Fprintf(w, "  %-*s  %s\n", width, c.Copy, c.line(s.now))
		if said := cmp.Or(c.Error, c.Note); said != "" {
			fmt.Fprintf(w, "  %-*s    %s\n", width, "", line.Text(said))
		}
	}
	if s.Damage == 0 {
		fmt.Fprintln(w, "No damage on record.")
	}
	fmt.Fprintln(w, s.years(line))
	s.List.Print(w)
	for _, n := range s.Notes {
		fmt.Fprintf(w, "Note: %s.\n", n)
	}
	if s.SheetPrinted == nil {
		fmt.Fprintf(w, "No recovery sheet was printed yet. To draw one: %s\n", line.Run("paper", "recovery", "FILE.pdf"))
	}
	s.printRounds(w)
}

// line is a copy's state with what can be said of its safety, and no more.
func (c CopyStatus) line(now time.Time) string {
	parts := []string{c.State}
	out := c.State != mirror.Current && c.State != mirror.Behind
	switch {
	case out && c.LastSeen != nil:
		parts = append(parts, "last within reach "+age(now.Sub(*c.LastSeen))+"; what follows is what was known then")
	case out:
		parts = append(parts, "never within reach of this machine; nothing is known of it")
	}
	if c.Files > 0 {
		parts = append(parts, fmt.Sprintf("%s (%s)", count(c.Files, "file", "files"), verify.Size(c.Bytes)))
		switch {
		case c.LastVerified != nil:
			parts = append(parts, "every one read back, the oldest "+age(now.Sub(*c.LastVerified)))
		case c.ReadBack.Files == 0 && c.Confirmed == 0:
			parts = append(parts, "none read back yet")
		default:
			said := fmt.Sprintf("%d of them read back", c.ReadBack.Files)
			if c.ReadBack.Oldest != nil {
				said += ", the oldest " + age(now.Sub(*c.ReadBack.Oldest))
			}
			parts = append(parts, said)
		}
		if c.Confirmed > 0 {
			parts = append(parts, fmt.Sprintf("%d only confirmed by the service", c.Confirmed))
		}
	}
	if c.ToGo.Files > 0 {
		parts = append(parts, c.ToGo.String()+" still to go")
	}
	if c.State == mirror.Behind && c.LastCurrent != nil {
		parts = append(parts, "last had everything "+age(now.Sub(*c.LastCurrent)))
	}
	if c.Fence == "none" {
		parts = append(parts, "fence none: nothing but your word keeps a second machine from writing there")
	}
	return strings.Join(parts, ", ")
}

func (s Status) years(line words.Line) string {
	if s.YearsJudged == nil {
		return "The years have not been judged yet. To do that: " + line.Run("verify", "--only", "years")
	}
	var parts []string
	y := s.Years
	for _, p := range []struct {
		n    int
		word string
	}{
		{y.Whole, verify.Whole}, {y.Short, verify.Short}, {y.Skipped, verify.Skipped}, {y.Recoverable, verify.Recoverable},
		{y.Lost, verify.Lost}, {y.Due, verify.Due}, {y.Explained, verify.Explained},
	} {
		if p.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", p.n, p.word))
		}
	}
	if len(parts) == 0 {
		parts = []string{"none on record"}
	}
	said := fmt.Sprintf("Years, as of %s: %s.", age(s.now.Sub(*s.YearsJudged)), strings.Join(parts, ", "))
	return said
}
