package text

import (
	"fmt"
	"io"
	"strings"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/show/screen"
	"linecamp/manifest"
	"linecamp/manifest/words"
)

// Print writes the line and what it is good for.
func sealed(w io.Writer, r daemon.SealReport) {
	if r.Lines == 0 {
		fmt.Fprintf(w, "%s has no version yet, so there is nothing to seal. To begin: %s\n", r.Archive, screen.LineOf(w).Run("mirror"))
		return
	}
	fmt.Fprintf(w, `The seal of %s:

    %s

Write it on paper, or read it to somebody who keeps no copy. Whoever has it can
say later whether what was recorded until that day is unchanged:

    %s
`, r.Archive, r.Line, screen.LineOf(w).Run("verify", "--seal", r.Line))
}

// Print writes the report for a person.
func explained(w io.Writer, r daemon.ExplainReport) {
	for _, e := range r.Explained {
		fmt.Fprintf(w, "On file for %s, %s: %s (%s)\n", shown(e.Site), explainedWhat(e), shown(e.Why), shown(e.Who))
	}
	for _, e := range r.Undone {
		fmt.Fprintf(w, "No longer explained for %s, %s: %s (%s)\n", shown(e.Site), explainedWhat(e), shown(e.Why), shown(e.Who))
	}
	for _, n := range r.Notes {
		fmt.Fprintf(w, "But look: %s.\n", n)
	}
	fmt.Fprintf(w, "To keep it with the archive: %s\n", screen.LineOf(w).Run("mirror"))
}

// what says in words what is explained of a site.
func explainedWhat(e daemon.ExplainedSite) string {
	what := strings.Join(e.Years, ", ")
	switch {
	case e.Path != "":
		what = shown(e.Path)
	case e.Lacks != "":
		what += ", " + shown(e.Lacks)
	case e.Season != "":
		what += ", the visit of " + shown(e.Season)
	}
	return what
}

// Print writes the report for a person.
func same(w io.Writer, r daemon.SameReport) {
	now, former := shown(r.Now.Site), shown(r.Former.Site)
	said := shown(r.Who)
	if r.Why != "" {
		said += ": " + shown(r.Why)
	}
	already := ""
	if r.Already {
		already = " already, since " + r.When.Local().Format(time.DateOnly)
	}
	switch {
	case r.Decided == manifest.Joined:
		fmt.Fprintf(w, "On file%s: %s and %s are one stake, called %s now (%s)\n", already, now, former, now, said)
	case r.Undone:
		fmt.Fprintf(w, "On file: %s and %s are two again (%s)\n", now, former, said)
	default:
		fmt.Fprintf(w, "On file%s: %s and %s are two stakes (%s)\n", already, now, former, said)
	}
	if len(r.Overlap) > 0 {
		fmt.Fprintf(w, "Both have visits in %s; each year counts once.\n", words.Runs(r.Overlap))
	}
	if r.Already {
		return
	}
	line := screen.LineOf(w)
	if r.Decided == manifest.Joined {
		fmt.Fprintf(w, "Their years are judged together. Each keeps its folder, its copies and its history: %s and %s\n",
			line.Run("history", r.Now.Object), line.Run("history", r.Former.Object))
	}
	fmt.Fprintf(w, "To keep it with the archive: %s\n", line.Run("mirror"))
	caution(w)
}

// Print says what was drawn and what comes next.
func onPaper(w io.Writer, r daemon.PaperReport) {
	if r.Printed != nil {
		fmt.Fprintf(w, "On file: the recovery sheet of %s was printed %s.\n", r.Archive, words.When(*r.Printed))
		return
	}
	fmt.Fprintf(w, "The recovery sheet of %s is in %s.\n", r.Archive, r.File)
	for _, name := range r.Placeless {
		fmt.Fprintf(w, "Where %s is kept is left open on it; write it down, or add where = \"…\" to that copy in the settings.\n", name)
	}
	for _, name := range r.Keyless {
		fmt.Fprintf(w, "The id of the key of %s is left open on it, because it is not known here; write it down.\n", name)
	}
	fmt.Fprintf(w, "Print it, keep one sheet away from the office, and then put that on file: %s\n", screen.LineOf(w).Run("paper", "printed", r.File))
}
