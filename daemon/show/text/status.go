package text

import (
	"cmp"
	"fmt"
	"io"
	"strings"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/event"
	"linecamp/daemon/mirror"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// Print writes the status for a person.
func status(w io.Writer, s daemon.Status) {
	line := words.Of(w)
	fmt.Fprintf(w, "%s\n", s.Archive)
	width := 0
	for _, c := range s.Copies {
		width = max(width, len(c.Copy))
	}
	for _, c := range s.Copies {
		fmt.Fprintf(w, "  %-*s  %s\n", width, c.Copy, copyStatus(c, s.Now))
		if said := cmp.Or(c.Error, c.Note); said != "" {
			fmt.Fprintf(w, "  %-*s    %s\n", width, "", line.Text(said))
		}
	}
	if s.Damage == 0 {
		fmt.Fprintln(w, "No damage on record.")
	}
	fmt.Fprintln(w, statusYears(s, line))
	attentions(w, s.List)
	for _, n := range s.Notes {
		fmt.Fprintf(w, "Note: %s.\n", n)
	}
	if s.SheetPrinted == nil {
		fmt.Fprintf(w, "No recovery sheet was printed yet. To draw one: %s\n", line.Run("paper", "recovery", "FILE.pdf"))
	}
	statusRounds(w, s)
}

// line is a copy's state with what can be said of its safety, and no more.
func copyStatus(c daemon.CopyStatus, now time.Time) string {
	parts := []string{c.State}
	out := c.State != mirror.Current && c.State != mirror.Behind
	switch {
	case out && c.LastSeen != nil:
		parts = append(parts, "last within reach "+words.Ago(now.Sub(*c.LastSeen))+"; what follows is what was known then")
	case out:
		parts = append(parts, "never within reach of this machine; nothing is known of it")
	}
	if c.Files > 0 {
		parts = append(parts, fmt.Sprintf("%s (%s)", words.Count(c.Files, "file"), words.Size(c.Bytes)))
		switch {
		case c.LastVerified != nil:
			parts = append(parts, "every one read back, the oldest "+words.Ago(now.Sub(*c.LastVerified)))
		case c.ReadBack.Files == 0 && c.Confirmed == 0:
			parts = append(parts, "none read back yet")
		default:
			said := fmt.Sprintf("%d of them read back", c.ReadBack.Files)
			if c.ReadBack.Oldest != nil {
				said += ", the oldest " + words.Ago(now.Sub(*c.ReadBack.Oldest))
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
		parts = append(parts, "last had everything "+words.Ago(now.Sub(*c.LastCurrent)))
	}
	if c.Fence == "none" {
		parts = append(parts, "fence none: nothing but your word keeps a second machine from writing there")
	}
	return strings.Join(parts, ", ")
}

func statusYears(s daemon.Status, line words.Line) string {
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
	said := fmt.Sprintf("Years, as of %s: %s.", words.Ago(s.Now.Sub(*s.YearsJudged)), strings.Join(parts, ", "))
	return said
}

// printRounds says when the last rounds ran, when the next are due, and whether
// anything runs them.
func statusRounds(w io.Writer, s daemon.Status) {
	if s.Unrecorded.Files > 0 && s.Service.Running {
		fmt.Fprintf(w, "%s in the working folder not recorded yet; the next round takes what is left alone for a minute.\n", s.Unrecorded)
	} else if s.Unrecorded.Files > 0 {
		fmt.Fprintf(w, "%s in the working folder not recorded yet.\n", s.Unrecorded)
	}
	var last []string
	for _, r := range s.Last {
		said := r.Round + " " + words.When(r.At)
		switch {
		case r.Outcome == event.Failed:
			said += " (failed)"
		case r.Outcome == event.Stopped:
			said += " (stopped before its end)"
		case r.Ended == nil:
			said += " (no end of it is known; it may be under way)"
		}
		last = append(last, said)
	}
	if len(last) == 0 {
		last = []string{"none yet"}
	}
	fmt.Fprintf(w, "Last rounds: %s.\n", strings.Join(last, "; "))
	fmt.Fprintln(w, s.Service)
	if len(s.Next) == 0 {
		return
	}
	var next []string
	for _, n := range s.Next {
		at := words.When(n.At)
		if !n.At.After(s.Now) {
			at = "due now"
		}
		next = append(next, n.Round+" "+at)
	}
	lead := "Next rounds"
	if !s.Service.Running {
		lead = "A service would run next"
	}
	fmt.Fprintf(w, "%s: %s.\n", lead, strings.Join(next, "; "))
}
