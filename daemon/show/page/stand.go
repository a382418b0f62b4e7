package page

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/attention"
	"linecamp/daemon/config"
	"linecamp/daemon/event"
	"linecamp/daemon/reach"
	"linecamp/daemon/service"
	"linecamp/daemon/show/page/jobs"
	"linecamp/daemon/show/text/letter"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// standView is how things stand with one archive.
type standView struct {
	frame
	Sentence  string
	Well      bool
	Copies    []copyRow
	Wants     []want
	Alike     int // pairs of sites that look like one stake
	Rounds    []roundRow
	Service   service.State
	Next      []string
	Counts    []stateCount
	Judged    string
	AsOf      string
	Running   *jobs.Row
	Elsewhere []jobs.Row // rounds that another process runs
}

type copyRow struct {
	Name, Kind, State, Says string
	Where                   string // it is kept, in the words of the office
	Good                    bool
	LastCurrent, ReadBack   string
	Holds, Told             string
}

// want is one thing that wants a person: what, since when, and what to do next.
type want struct {
	What, Since string
	Next        string // in words
	Do          string // the work that a button begins; "" where a person does it elsewhere
	Button      string
	Line        string // the command line that does the same
	See         string // a view to look at first, below the archive's address
}

type roundRow struct{ Round, When, Outcome, Detail string }

func (s *Server) stand(w http.ResponseWriter, r *http.Request, b *book) error {
	read, err := b.read(r.Context(), r.FormValue("fresh") != "")
	if err != nil {
		return err
	}
	v := standView{frame: s.frame(b, "stand", "How things stand"), AsOf: words.When(read.at), Wants: wanting(b, read), Running: b.jobs.Running(), Elsewhere: elsewhereRows(b)}
	for _, c := range read.status.Copies {
		v.Copies = append(v.Copies, copyRowOf(c, b.now()))
	}
	v.Well, v.Service = len(v.Wants) == 0, read.status.Service
	v.Sentence = standing(read, len(v.Wants))
	v.Alike = len(read.record.Alike)
	for _, r := range read.status.Last {
		v.Rounds = append(v.Rounds, roundRowOf(r, b))
	}
	for _, n := range read.status.Next {
		when := words.When(n.At)
		if !n.At.After(b.now()) {
			when = "due now"
		}
		v.Next = append(v.Next, n.Round+": "+when)
	}
	counts := map[string]int{}
	for _, y := range read.record.Years {
		counts[y.State]++
	}
	for _, w := range stateWords {
		if counts[w.State] > 0 {
			v.Counts = append(v.Counts, stateCount{w, counts[w.State]})
		}
	}
	return show(w, "stand", http.StatusOK, v)
}

// standing is the one sentence.
func standing(r *reading, wants int) string {
	sites := len(r.sites)
	switch {
	case wants == 1:
		return "One thing needs you."
	case wants > 1:
		return fmt.Sprintf("%d things need you.", wants)
	case sites == 0:
		return "Nothing is recorded yet, and nothing needs you."
	}
	if u := r.status.Unrecorded; u.Files > 0 {
		return fmt.Sprintf("Nothing needs you. In your folder, %s not recorded yet.", u)
	}
	any := func(is func(daemon.CopyStatus) bool) bool { return slices.ContainsFunc(r.status.Copies, is) }
	switch {
	case any(func(c daemon.CopyStatus) bool { return c.State == reach.Behind }):
		return "All is well so far: what is new is on its way to every copy."
	case any(func(c daemon.CopyStatus) bool { return c.State == reach.Away }):
		return "All is well: what can be reached has everything, and what is not plugged in is within its days."
	case any(func(c daemon.CopyStatus) bool { return c.LastVerified == nil }):
		return "Every copy has everything, and not all of it was read back yet."
	}
	return "All is well: every copy has everything, and every file on it was read back."
}

// wanting is what wants a person, most urgent first, as package attention has it.
func wanting(b *book, r *reading) (all []want) {
	for _, i := range r.status.Attention {
		w := want{What: verify.Shown(b.Line.Text(i.What)), Since: words.When(i.Since), Next: verify.Shown(b.Line.Text(i.Next))}
		switch i.Kind {
		case attention.Damage:
			w.Do, w.Button, w.Line = "mend", "Mend from good copies", b.Line.Run("mend")
		case attention.CopyBehind, attention.NothingKept, attention.NotRecorded:
			w.Do, w.Button, w.Line = "mirror", "Mirror now", b.Line.Run("mirror")
		case attention.CheckFailed:
			w.Do, w.Button, w.Line = "verify", "Verify now", b.Line.Run("verify")
		case attention.RoundFailed, attention.RoundOverdue:
			if i.Round == "mirror" || i.Round == "verify" {
				w.Do, w.Button, w.Line = i.Round, "Run it now", b.Line.Run(i.Round)
			}
		case attention.Years:
			w.See, w.Line = "years?state="+wants, b.Line.Run("verify", "--only", "years")
		case attention.Findings:
			w.See, w.Line = "findings", b.Line.Run("verify", "--only", "years")
		case attention.ChangeWaits, attention.ManyUnfiled:
			w.See, w.Line = "changes", b.Line.Run("mirror", "--accept-changes")
		}
		if strings.Contains(w.Next, "`") {
			w.Line = "" // the sentence has it
		}
		all = append(all, w)
	}
	return all
}

func copyRowOf(c daemon.CopyStatus, now time.Time) copyRow {
	row := copyRow{Name: verify.Shown(c.Copy), Where: verify.Shown(c.Where), Kind: config.Kinds[c.Kind].Called, State: letter.CopyState(c.State), Good: c.State == reach.Current, LastCurrent: since(c.LastCurrent)}
	row.Holds = fmt.Sprintf("%s, %s", words.Count(c.Files, "file", "files"), words.Size(c.Bytes))
	switch {
	case c.Files == 0:
		row.ReadBack = "nothing there yet"
	case c.LastVerified != nil:
		row.ReadBack = "every file, the oldest " + words.When(*c.LastVerified)
	case c.ReadBack.Files > 0:
		row.ReadBack = fmt.Sprintf("%d of %s", c.ReadBack.Files, words.Count(c.Files, "file", "files"))
	default:
		row.ReadBack = "none yet"
	}
	if c.Confirmed > 0 {
		row.ReadBack += fmt.Sprintf("; %d only confirmed by the service", c.Confirmed)
	}
	told := c.Error
	if told == "" {
		told = c.Note
	}
	row.Told = verify.Shown(told)
	if c.ToGo.Files > 0 {
		row.Holds += fmt.Sprintf("; still to go: %s, %s", words.Count(c.ToGo.Files, "file", "files"), words.Size(c.ToGo.Bytes))
	}
	if c.State != reach.Current && c.State != reach.Behind {
		row.Says = "last within reach " + since(c.LastSeen)
	}
	return row
}

func roundRowOf(p daemon.PastRound, b *book) roundRow {
	row := roundRow{Round: p.Round, When: words.When(p.At), Outcome: p.Outcome, Detail: verify.Shown(b.Line.Text(p.Detail))}
	switch {
	case p.Ended == nil:
		row.Outcome = "under way, or broken off"
	case p.Outcome == event.Wants:
		row.Outcome = "something needs you"
	}
	return row
}

func since(t *time.Time) string {
	if t == nil {
		return "never"
	}
	return words.When(*t)
}

// rollView is all archives, worst first.
type rollView struct {
	frame
	Archives []rollRow
}

type rollRow struct {
	Name, Href, Sentence string
	Wants                int
	Sites                int
	Counts               string
	Fault                bool
}

// roll shows the archives at once. Where there is only one, it is shown itself.
func (s *Server) roll(w http.ResponseWriter, r *http.Request) {
	if !s.several() {
		http.Redirect(w, r, s.gate.Door()+"/a/"+s.books[0].Name()+"/", http.StatusSeeOther)
		return
	}
	v := rollView{frame: s.frame(nil, "roll", "The archives"), Archives: make([]rollRow, len(s.books))}
	done := make(chan int)
	for i, b := range s.books {
		go func() {
			row := rollRow{Name: b.Name(), Href: s.gate.Door() + "/a/" + b.Name() + "/"}
			read, err := b.read(r.Context(), false)
			if err != nil {
				row.Fault, row.Wants, row.Sentence = true, 1, sentence(err)
			} else {
				row.Wants = len(wanting(b, read))
				row.Sites, row.Sentence = len(read.sites), standing(read, row.Wants)
				row.Counts = countWords(read.record.Years)
			}
			v.Archives[i] = row
			done <- i
		}()
	}
	for range s.books {
		<-done
	}
	for _, f := range s.faults {
		v.Archives = append(v.Archives, rollRow{Name: "Settings that cannot be used", Fault: true, Wants: 1, Sentence: sentence(errors.New(f.Error()))})
	}
	slices.SortStableFunc(v.Archives, func(a, b rollRow) int {
		switch {
		case a.Fault != b.Fault && a.Fault:
			return -1
		case a.Fault != b.Fault:
			return 1
		case a.Wants != b.Wants:
			return b.Wants - a.Wants
		}
		return natural(a.Name, b.Name)
	})
	if err := show(w, "roll", http.StatusOK, v); err != nil {
		s.fault(w, r, nil, err)
	}
}

// countWords says how many years are in each state: "112 whole, 2 short".
func countWords(years []verify.Year) string {
	counts := map[string]int{}
	for _, y := range years {
		counts[y.State]++
	}
	var parts []string
	for _, w := range stateWords {
		if counts[w.State] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", counts[w.State], w.State))
		}
	}
	return strings.Join(parts, ", ")
}
