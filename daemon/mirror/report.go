package mirror

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"linecamp/daemon/alone"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// States of a copy after a round, as the report names them.
const (
	Current     = reach.Current
	Behind      = reach.Behind
	Away        = reach.Away
	Unreachable = reach.Unreachable
	Failed      = reach.Failed
)

// CopyState says how one copy stands, and what this round brought to it.
type CopyState struct {
	Copy     string   `json:"copy"`
	State    string   `json:"state"`
	Versions int      `json:"versions"`            // committed there in this round
	Files    int      `json:"files"`               // people's files stored there in this round
	Bytes    int64    `json:"bytes"`               // and their size
	Missing  []string `json:"missing,omitempty"`   // files committed without their bytes, which nobody has
	TooLarge []string `json:"too_large,omitempty"` // files that its file system cannot hold, of this round and of earlier ones
	Gone     []Gone   `json:"gone,omitempty"`      // what was there once, and was found missing
	Error    string   `json:"error,omitempty"`
	Note     string   `json:"note,omitempty"` // what is as it should be, and still worth a sentence
}

// through reports whether nothing is left to bring to the copy that it could hold.
func (c CopyState) through() bool {
	return c.State == Current || c.State == Behind && len(c.TooLarge) > 0 && strings.HasPrefix(c.Error, "short of ")
}

// Waiting is a path that was seen and not recorded yet.
type Waiting struct {
	Path   string `json:"path"`
	Reason string `json:"reason"`
	Person bool   `json:"needs_person"` // false: it settles by itself
}

// Edit is a photo of a past year that was changed and recorded anew. That is
// rarely meant; the bytes it had before are kept.
type Edit struct {
	Path  string `json:"path"`
	Visit string `json:"visit"` // its day or year
}

// Report is what `linecamp mirror` says.
type Report struct {
	Archive string      `json:"archive"`
	Copies  []CopyState `json:"copies"`
	Waiting []Waiting   `json:"waiting"`
	HeldUp  []HeldUp    `json:"held_up,omitempty"` // what waits for a copy that cannot be asked
	Made    int         `json:"versions_made"`     // new versions authored in this round
	Edits   []Edit      `json:"edits,omitempty"`
	// GivenUp are the copies that a person gave up with this round, with what each
	// alone was known to hold.
	GivenUp []alone.Report `json:"given_up,omitempty"`
	Asks    []string       `json:"asks,omitempty"` // what a person is asked, though nothing waits for it
}

// Wants reports whether something in r wants a person: a copy that is neither
// current nor merely away, a change that waits for someone's word, or a question.
func (r Report) Wants() bool {
	for _, c := range r.Copies {
		if c.State != Current && c.State != Away || len(c.Missing)+len(c.Gone) > 0 {
			return true
		}
	}
	return len(r.Asks) > 0 || slices.ContainsFunc(r.Waiting, func(w Waiting) bool { return w.Person })
}

// Print writes the report in words.
func (r Report) Print(w io.Writer) {
	switch {
	case r.Made > 0:
		fmt.Fprintf(w, "%s recorded.\n", plural(r.Made, "new version", "new versions"))
	case len(r.Waiting) > 0:
		fmt.Fprintln(w, "Nothing new was recorded.")
	default:
		fmt.Fprintln(w, "Nothing new to record.")
	}
	line := words.Of(w)
	width := 0
	for _, c := range r.Copies {
		width = max(width, len(c.Copy))
	}
	for _, c := range r.Copies {
		fmt.Fprintf(w, "  %-*s  %s", width, c.Copy, c.State)
		switch {
		case c.Versions > 0 && c.Files == 0:
			fmt.Fprint(w, ", knows now what changed; no new file was needed")
		case c.Versions > 0:
			fmt.Fprintf(w, ", received %s (%s)", plural(c.Files, "file", "files"), verify.Size(c.Bytes))
		}
		if said := cmp.Or(c.Error, c.Note); said != "" {
			fmt.Fprintf(w, ": %s", line.Text(said))
		}
		fmt.Fprintln(w)
		few(w, "    nobody has the bytes of ", c.Missing)
		few(w, "    it cannot hold ", c.TooLarge)
		printGone(w, c.Gone)
	}
	for _, g := range r.GivenUp {
		fmt.Fprintf(w, "%s is given up: linecamp does not use it any more, and its name is free. What it holds is left as it is.\n", g.Copy)
		g.Print(w)
	}
	printEdits(w, r.Edits)
	printWaiting(w, r.Waiting)
	for _, q := range r.Asks {
		fmt.Fprintf(w, "Look at this: %s.\n", line.Text(q))
	}
}

func printEdits(w io.Writer, edits []Edit) {
	if len(edits) == 0 {
		return
	}
	fmt.Fprintf(w, "%s changed since they were recorded; what they were before is kept too.\n", plural(len(edits), "photo of a past year was", "photos of past years were"))
	var paths []string
	for _, e := range edits {
		paths = append(paths, e.Path)
	}
	few(w, "    ", paths)
}

func printWaiting(w io.Writer, all []Waiting) {
	var reasons []string
	paths := map[string][]string{}
	for _, x := range all {
		if _, ok := paths[x.Reason]; !ok {
			reasons = append(reasons, x.Reason)
		}
		paths[x.Reason] = append(paths[x.Reason], x.Path)
	}
	for _, reason := range reasons {
		p := slices.DeleteFunc(paths[reason], func(s string) bool { return s == "" })
		if len(p) == 0 {
			fmt.Fprintf(w, "Waiting: %s.\n", words.Of(w).Text(reason))
			continue
		}
		fmt.Fprintf(w, "Waiting, %s: %s.\n", plural(len(p), "file", "files"), words.Of(w).Text(reason))
		few(w, "    ", p)
	}
}

// few prints up to eight of the paths and counts the rest.
func few(w io.Writer, lead string, paths []string) {
	const most = 8
	for i, p := range paths {
		if i == most {
			fmt.Fprintf(w, "%sand %d more (--json lists all)\n", lead, len(paths)-most)
			return
		}
		fmt.Fprintf(w, "%s%s\n", lead, manifest.Printable(p))
	}
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// finish sets the last words of the report, copies in the config's order.
func (r *round) finish() Report {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.report.Copies = r.report.Copies[:0]
	for _, c := range r.copies {
		r.report.Copies = append(r.report.Copies, c.final(r.log))
	}
	if r.report.Waiting == nil {
		r.report.Waiting = []Waiting{}
	}
	slices.SortStableFunc(r.report.Waiting, func(a, b Waiting) int {
		return cmp.Or(strings.Compare(a.Path, b.Path), strings.Compare(a.Reason, b.Reason))
	})
	r.report.Waiting = slices.Compact(r.report.Waiting)
	slices.SortFunc(r.report.Edits, func(a, b Edit) int { return strings.Compare(a.Path, b.Path) })
	return r.report
}
