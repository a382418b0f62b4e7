// Package letter has the words of notices. Call [Write] for what a notice says, and
// [Tried] for what came of sending one because a person asked.
package letter

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"linecamp/daemon/attention"
	"linecamp/daemon/notice"
	"linecamp/daemon/notice/desk"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// Write says what a notice says: what is so, since when, and what to do next. line
// completes the command lines in it.
func Write(n notice.Notice, line words.Line) (subject, text string) {
	w := &writer{line: line}
	w.say("%s", opening(n))
	w.damage(n.Damage)
	if n.Kind == notice.Trial {
		w.items("What needs a person now", n.Standing)
	} else {
		w.items("New", n.New)
		w.items("Told before, and still so", n.Standing)
	}
	w.ended(n)
	w.state(n)
	w.say("\nThis is from linecamp on the computer %s, for the record of %s. It writes at most once a day, unless something new is damaged, and at least once a month. If a month passes without a word, see whether it still runs: %s",
		manifest.Printable(cmp.Or(n.Machine, "that runs it")), who(n), line.Run("status"))
	return head(n), w.b.String()
}

// who is the archive, as people call it.
func who(n notice.Notice) string {
	if n.Name != "" {
		return manifest.Printable(n.Name)
	}
	return manifest.Printable(n.Archive)
}

// head is the one line that stands in a list of letters.
func head(n notice.Notice) string {
	files := 0
	for _, d := range n.Damage {
		files += d.Files
	}
	what := ""
	switch many := len(n.New) + len(n.Standing); {
	case n.Kind == notice.Trial:
		what = "a trial"
	case n.Kind == notice.AllWell:
		what = "all is well"
	case n.Kind == notice.WellAgain:
		what = "all is well again"
	case files > 0:
		what = words.Count(files, "file") + " found damaged"
	case many == 1:
		what = "something needs you"
	default:
		what = fmt.Sprintf("%d things need you", many)
	}
	return fmt.Sprintf("linecamp, %s: %s", who(n), what)
}

func opening(n notice.Notice) string {
	said := ""
	switch n.Kind {
	case notice.Trial:
		said = "This is a trial: somebody asked linecamp for it. If you can read it, notices reach you."
	case notice.AllWell:
		said = "All is well: the rounds run, no damage is on record, and nothing needs a person."
	case notice.WellAgain:
		said = "All is well again: nothing needs a person any more."
	default:
		said = "Something needs a person. Below it says what, since when, and what to do next."
	}
	if n.Unsent != nil {
		said += fmt.Sprintf("\nNo notice could be sent since %s. This one tells all that came meanwhile.", words.When(*n.Unsent))
	}
	return said
}

// writer makes the text. Each line of it is printable, whatever names stand in it.
type writer struct {
	b    strings.Builder
	line words.Line
}

func (w *writer) say(format string, a ...any) {
	for line := range strings.SplitSeq(fmt.Sprintf(format, a...), "\n") {
		w.b.WriteString(manifest.Printable(line) + "\n")
	}
}

// text completes the command lines in a text. Its further lines stand below the first.
func (w *writer) text(s string) string {
	return strings.ReplaceAll(w.line.Text(s), "\n", "\n      ")
}

func (w *writer) damage(all []notice.Damage) {
	if len(all) == 0 {
		return
	}
	w.say("\nFound damaged since the last notice:")
	for _, d := range all {
		w.say("  %s: %s, on %s", copyName(d.Copy), words.Count(d.Files, "file"), words.When(d.At))
		for _, p := range d.Paths {
			w.say("    %s", manifest.Printable(p))
		}
		if more := d.Files - len(d.Paths); more > 0 {
			w.say("    and %d more", more)
		}
	}
	w.say("Damage on a copy does not reach the others. To see it: %s. To put good bytes in its place: %s", w.line.Run("verify"), w.line.Run("mend"))
}

func (w *writer) items(title string, all []attention.Item) {
	if len(all) == 0 {
		return
	}
	w.say("\n%s:", title)
	for _, i := range all {
		w.say("  Since %s: %s", words.When(i.Since), w.text(i.What))
		if i.Next != "" {
			w.say("      Next: %s", w.text(i.Next))
		}
	}
}

func (w *writer) ended(n notice.Notice) {
	if len(n.Ended) == 0 && n.LeftOut == 0 {
		return
	}
	w.say("\nNo longer so:")
	for _, e := range n.Ended {
		w.say("  From %s until %s: %s", words.When(e.Since), words.When(e.Until), w.text(e.What))
	}
	if n.LeftOut > 0 {
		w.say("  and %s before", words.Count(n.LeftOut, "thing"))
	}
}

func (w *writer) state(n notice.Notice) {
	if n.State == nil {
		return
	}
	w.say("\nHow it stands on %s:", words.When(n.At))
	for _, c := range n.State.Copies {
		w.say("  %s: %s", manifest.Printable(c.Copy), manifest.Printable(copyLine(c, n.At)))
	}
	var years []string
	for _, state := range []string{verify.Whole, verify.Short, verify.Skipped, verify.Recoverable, verify.Lost, verify.Due, verify.Explained} {
		if k := n.State.Years[state]; k > 0 {
			years = append(years, fmt.Sprintf("%d %s", k, state))
		}
	}
	if len(years) > 0 {
		w.say("  Years: %s.", strings.Join(years, ", "))
	}
	if n.State.Seal != "" {
		w.say("The seal as this computer knows it: %s", n.State.Seal)
		w.say("Whoever keeps this line can say later whether what was recorded until that day is unchanged: %s", w.line.Run("verify", "--seal", n.State.Seal))
	}
}

// copyLine is how a copy stands, and no more than what is known of it.
func copyLine(c notice.Copy, now time.Time) string {
	parts := []string{CopyState(c.State)}
	if c.Files > 0 {
		said := fmt.Sprintf("%d of them read back", c.ReadBack)
		switch c.ReadBack {
		case 0:
			said = "none read back yet"
		case c.Files:
			said = "every one read back"
		}
		if c.Oldest != nil {
			said += ", the oldest " + words.Ago(now.Sub(*c.Oldest))
		}
		parts = append(parts, fmt.Sprintf("%s (%s)", words.Count(c.Files, "file"), words.Size(c.Bytes)), said)
	}
	return strings.Join(parts, ", ")
}

// stateWords say how a copy stands.
var stateWords = map[string]string{
	reach.Current: "up to date", reach.Behind: "behind", reach.Away: "not plugged in", reach.Unreachable: "out of reach", reach.Failed: "failed",
}

// CopyState says how a copy stands.
func CopyState(state string) string { return cmp.Or(stateWords[state], state) }

// copyName is a copy by its name, and the working folder by what people call it.
func copyName(name string) string {
	if name == verify.WorkingName {
		return "your folder"
	}
	return manifest.Printable(name)
}

// Tried says what came of a trial.
func Tried(w io.Writer, r desk.TryReport) {
	fmt.Fprintf(w, "%s:\n", manifest.Printable(r.Archive))
	width := 0
	for _, t := range r.Tried {
		width = max(width, len([]rune(t.Way)))
	}
	for _, t := range r.Tried {
		said := "sent; see whether it arrived"
		switch {
		case t.Sent && t.Way == desk.Alive:
			said = "called"
		case !t.Sent:
			said = "NOT SENT: " + words.Sentence(manifest.Printable(t.Error))
		}
		fmt.Fprintf(w, "  %s%s  %s\n", manifest.Printable(t.Way), strings.Repeat(" ", width-len([]rune(t.Way))), said)
	}
	if !slices.ContainsFunc(r.Tried, func(t desk.Tried) bool { return t.Way != desk.Alive }) {
		fmt.Fprintln(w, "Nobody is told of anything: the settings name no address for notices, only one to be called.")
	}
}
