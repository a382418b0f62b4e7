// Package drilled says what came of practice recoveries. Call [Print] with the report
// of one, and [Last] for the line that status has of a copy.
package drilled

import (
	"cmp"
	"fmt"
	"io"
	"strings"
	"time"

	"linecamp/daemon/drill"
	"linecamp/daemon/show/screen"
	"linecamp/daemon/status"
	"linecamp/manifest"
	"linecamp/manifest/words"
)

// mostPaths is how many files are named of each kind.
const mostPaths = 8

// Print writes the report for a person.
func Print(w io.Writer, r drill.Report) {
	fmt.Fprintf(w, "%s, practice recovery:\n", r.Archive)
	width := 0
	for _, c := range r.Copies {
		width = max(width, len(c.Copy))
	}
	for _, c := range r.Copies {
		fmt.Fprintf(w, "  %-*s  %s\n", width, c.Copy, screen.LineOf(w).Text(outcome(c)))
		under := func(format string, a ...any) {
			fmt.Fprintf(w, "  %*s    "+format+"\n", append([]any{width, ""}, a...)...)
		}
		if c.Error != "" {
			under("%s", manifest.Printable(screen.LineOf(w).Text(words.Sentence(c.Error))))
		}
		paths(under, "different", c.Different)
		paths(under, "missing", c.Missing)
		if c.Step == drill.Fetching {
			under("To see what is wrong there: %s. To put it right: %s", screen.LineOf(w).Run("verify", "--copy", c.Copy), screen.LineOf(w).Run("mend"))
		}
		if c.LeftOut.Files > 0 {
			under("Left out: %s (%s). The settings let no more be downloaded from this copy for now.", words.Count(c.LeftOut.Files, "file"), words.Size(c.LeftOut.Bytes))
		}
		if c.Behind > 0 {
			under("Its seal names %s that it does not have yet.", words.Count(c.Behind, "version"))
		}
		if c.Whole.Files > 0 && c.Files > 0 {
			under("A whole recovery from it: about %s (%s), %s.", words.Count(c.Whole.Files, "file"), words.Size(c.Whole.Bytes), lasts(c.Whole.Seconds))
		}
	}
}

// outcome is a copy's drill in one sentence.
func outcome(c drill.Copy) string {
	of := "everything"
	if c.Site != "" {
		of = manifest.Printable(c.Site)
	}
	if c.Visit != "" {
		of += ", visit of " + c.Visit
	}
	came := fmt.Sprintf("%s (%s) came back in %s", words.Count(c.Files, "file"), words.Size(c.Bytes), lasts(c.Seconds))
	switch {
	case c.Untried != "":
		return "not tried: " + words.Sentence(c.Untried)
	case !c.Passed && c.Files == 0:
		return fmt.Sprintf("NOT passed; it failed while %s.", c.Step)
	case !c.Passed:
		return fmt.Sprintf("%s: NOT passed; %s, and it failed while %s.", of, came, c.Step)
	case c.Compared == 0:
		return fmt.Sprintf("%s: %s, every byte as recorded. None of it is in your folder to compare with.", of, came)
	case c.Compared < c.Files:
		return fmt.Sprintf("%s: %s, every byte as recorded; %d of them are in your folder too, and are the same there.", of, came, c.Compared)
	}
	return fmt.Sprintf("%s: %s, every byte as recorded and as in your folder.", of, came)
}

func paths(under func(string, ...any), how string, list []string) {
	for i, p := range list {
		if i == mostPaths && len(list) > mostPaths+1 {
			under("… and %d more (--json lists all)", len(list)-mostPaths)
			return
		}
		under("%s: %s", how, manifest.Printable(p))
	}
}

// lasts says how long something takes.
func lasts(seconds float64) string {
	switch minutes := int(seconds/60 + 0.5); {
	case seconds < 1:
		return "less than a second"
	case seconds < 100:
		return words.Count(int(seconds+0.5), "second")
	case minutes < 100:
		return words.Count(minutes, "minute")
	}
	return words.Count(int(seconds/3600+0.5), "hour")
}

// Last is what status says of the drills of a copy; "" where there were none.
func Last(c status.CopyStatus, now time.Time) string {
	var parts []string
	if c.LastDrill != nil {
		parts = append(parts, "last drill passed "+words.Ago(now.Sub(*c.LastDrill)))
	}
	if f := c.DrillFailed; f != nil {
		parts = append(parts, fmt.Sprintf("the drill on %s failed while %s", words.When(f.At), cmp.Or(f.Step, drill.Opening)))
	}
	return strings.Join(parts, "; ")
}
