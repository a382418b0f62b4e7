package text

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/attention"
	"linecamp/daemon/event"
	"linecamp/daemon/reach"
	"linecamp/daemon/show/screen"
	"linecamp/daemon/show/text/drilled"
	"linecamp/daemon/show/text/letter"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// Print writes the status for a person.
func status(w io.Writer, s daemon.Status) {
	line := screen.LineOf(w)
	fmt.Fprintln(w, archiveName(s))
	width := 0
	for _, c := range s.Copies {
		width = max(width, len(c.Copy))
	}
	for _, c := range s.Copies {
		fmt.Fprintf(w, "  %-*s  %s\n", width, c.Copy, copyStatus(c, s.Now))
		if c.Where != "" {
			fmt.Fprintf(w, "  %-*s    kept at: %s\n", width, "", shown(c.Where))
		}
		if said := cmp.Or(c.Error, c.Note); said != "" {
			fmt.Fprintf(w, "  %-*s    %s\n", width, "", line.Text(said))
		}
		if said := drilled.Last(c, s.Now); said != "" {
			fmt.Fprintf(w, "  %-*s    %s\n", width, "", said)
		}
	}
	switch checked := slices.ContainsFunc(s.Copies, func(c daemon.CopyStatus) bool { return c.ReadBack.Files > 0 }); {
	case s.Damage == 0 && checked:
		fmt.Fprintln(w, "No damage on record.")
	case s.Damage == 0:
		fmt.Fprintf(w, "No copy was read back yet, so nothing is known of damage. To do that: %s\n", line.Run("verify", "--only", "rot"))
	}
	fmt.Fprintln(w, statusYears(s, line))
	attentions(w, s.List)
	for _, n := range s.Notes {
		fmt.Fprintf(w, "Note: %s.\n", line.Text(n))
	}
	if s.SheetPrinted == nil {
		fmt.Fprintf(w, "No recovery sheet was printed yet. To draw one: %s\n", line.Run("paper", "recovery", "FILE.pdf"))
	}
	statusRounds(w, s)
}

// copyStatus is a copy's state with what can be said of its safety, and no more.
func copyStatus(c daemon.CopyStatus, now time.Time) string {
	parts := []string{letter.CopyState(c.State)}
	lead := ""
	switch {
	case c.State == reach.Current || c.State == reach.Behind:
	case c.LastSeen == nil:
		parts = append(parts, "never within reach of this computer; nothing is known of it")
	case c.State == reach.Failed:
		lead = "; what is known of it: "
	default:
		lead = "; when last seen on " + words.When(*c.LastSeen) + ": "
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
		parts = append(parts, letter.ToGo(c.ToGo, c.Link))
	}
	if c.State == reach.Behind && c.LastCurrent != nil {
		parts = append(parts, "last had everything "+words.Ago(now.Sub(*c.LastCurrent)))
	}
	if c.Fence == "none" {
		parts = append(parts, "linecamp cannot keep a second computer from writing there; you said that only this one does")
	}
	if lead != "" && len(parts) > 1 {
		return parts[0] + lead + strings.Join(parts[1:], ", ")
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

// statusRounds says when the last rounds ran, when the next are due, and whether
// anything runs them.
func statusRounds(w io.Writer, s daemon.Status) {
	told := slices.ContainsFunc(s.Attention, func(i attention.Item) bool {
		return i.Kind == attention.NotRecorded || i.Kind == attention.NothingKept && i.Files > 0
	})
	switch {
	case s.Unrecorded.Files == 0 || told:
	case s.Service.Running:
		fmt.Fprintf(w, "%s in your folder not recorded yet; the next round takes what is left alone for a minute.\n", s.Unrecorded)
	default:
		fmt.Fprintf(w, "%s in your folder not recorded yet.\n", s.Unrecorded)
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

// archiveName is the archive by its short name, with what people call it beside.
func archiveName(s daemon.Status) string {
	if s.Name == "" {
		return s.Archive
	}
	return s.Archive + "  (" + shown(s.Name) + ")"
}

// roll is the look at several archives, one line each, worst first.
func roll(w io.Writer, all []Titled) {
	var rows []daemon.Status
	for _, t := range all {
		if s, ok := t.Report.(daemon.Status); ok {
			rows = append(rows, s)
		}
	}
	slices.SortStableFunc(rows, func(a, b daemon.Status) int {
		return cmp.Or(nothingKept(b)-nothingKept(a), b.Damage-a.Damage, b.Years.Lost-a.Years.Lost, len(b.Attention)-len(a.Attention), b.Unrecorded.Files-a.Unrecorded.Files)
	})
	width := 0
	for _, s := range rows {
		width = max(width, len([]rune(archiveName(s))))
	}
	wanting := 0
	for _, s := range rows {
		if s.Wants() {
			wanting++
		}
		name := archiveName(s)
		fmt.Fprintf(w, "%s%s  %s\n", name, strings.Repeat(" ", width-len([]rune(name))), rollLine(s))
	}
	if well := len(rows) - wanting; len(rows) > 1 {
		fmt.Fprintf(w, "%s: %d well, %d that %s a person.\n", words.Count(len(rows), "archive"), well, wanting, map[bool]string{true: "wants", false: "want"}[wanting == 1])
	}
	fmt.Fprintf(w, "To see one whole: %s\n", words.Line{Config: screen.LineOf(w).Config}.Run("status", "--archive", "NAME"))
}

// nothingKept is 1 for an archive of which nothing is known to be kept.
func nothingKept(s daemon.Status) int {
	if slices.ContainsFunc(s.Attention, func(i attention.Item) bool { return i.Kind == attention.NothingKept }) {
		return 1
	}
	return 0
}

func rollLine(s daemon.Status) string {
	current := 0
	for _, c := range s.Copies {
		if c.State == reach.Current {
			current++
		}
	}
	parts := []string{fmt.Sprintf("%d of %s up to date", current, words.Count(len(s.Copies), "copy", "copies"))}
	if s.Damage > 0 {
		parts = append(parts, words.Count(s.Damage, "file damaged, or not put there by linecamp", "files damaged, or not put there by linecamp"))
	}
	switch {
	case len(s.Attention) == 0 && s.Unrecorded.Files > 0:
		return fmt.Sprintf("%s; %s not recorded yet", parts[0], s.Unrecorded)
	case len(s.Attention) == 0 && s.AsOf != nil:
		return fmt.Sprintf("%s; all was well %s", parts[0], words.Ago(s.Now.Sub(*s.AsOf)))
	case len(s.Attention) == 0:
		return parts[0] + "; all is well"
	}
	first := strings.TrimSuffix(s.Attention[0].What, ".")
	if i := strings.Index(first, "\n"); i >= 0 {
		first = first[:i]
	}
	parts = append(parts, first)
	if n := len(s.Attention) - 1; n > 0 {
		parts = append(parts, fmt.Sprintf("and %s", words.Count(n, "more thing that needs a person", "more things that need a person")))
	}
	return strings.Join(parts, "; ")
}
