// Package recovered says what a new machine found on a copy, and what came back from it.
// Call [Found] before anything is written, and [Back] with the report.
package recovered

import (
	"fmt"
	"io"
	"time"

	"linecamp/daemon/newmachine"
	"linecamp/daemon/show/screen"
	"linecamp/manifest"
	"linecamp/manifest/words"
)

// mostNamed is how many things of one kind a screen names; --json names all.
const mostNamed = 12

// Found says what is on the copy.
func Found(w io.Writer, f *newmachine.Found) {
	fmt.Fprintf(w, "On %s is a copy of the archive %s:\n", shown(f.From), shown(f.Archive))
	fmt.Fprintf(w, "  %s, %s, %s", words.Count(len(f.Sites), "site"), words.Count(f.Files, "file"), words.Size(f.Bytes))
	if f.Newest != "" {
		fmt.Fprintf(w, "; the newest visit is of %s", shown(f.Newest))
	}
	fmt.Fprintln(w)
	if !f.Written.IsZero() {
		fmt.Fprintf(w, "  last written %s", words.When(f.Written))
		if f.Recorder != "" {
			fmt.Fprintf(w, "; the computer %s recorded there", shown(f.Recorder))
		}
		fmt.Fprintln(w)
	}
	if f.Settings != nil {
		for _, c := range f.Settings.Copies {
			where := "a drive"
			if c.URL != "" {
				where = "a bucket at " + c.URL
			}
			fmt.Fprintf(w, "  the settings there name the copy %s, %s\n", shown(c.Name), shown(where))
		}
	}
	if l := f.Left; l != nil && l.Files+l.Waits > 0 {
		fmt.Fprintf(w, "  on %s, the computer %s had %s not on this copy yet\n", words.When(l.Made), shown(l.Machine), words.Count(l.Files+l.Waits, "file"))
	}
	if f.Seconds > 0 {
		fmt.Fprintf(w, "  to bring it back may take %s", span(time.Duration(f.Seconds)*time.Second))
		if f.Download > 0 {
			fmt.Fprintf(w, ", and %s have to be downloaded", words.Size(f.Download))
		}
		fmt.Fprintln(w)
	}
	for _, n := range f.Notes {
		fmt.Fprintf(w, "note: %s\n", shown(n))
	}
}

// Back says what came back, what is known and did not, and what to do next.
func Back(w io.Writer, r newmachine.Report) {
	fmt.Fprintf(w, "Back to work: %s, %s of %s are in %s; every byte matched its digest.\n", words.Count(r.Files, "file"), words.Size(r.Bytes), shown(r.Archive), shown(r.Into))
	fmt.Fprintf(w, "The settings are in %s. This computer, %s, records from now on", shown(r.Settings), shown(r.Machine))
	if r.Was != "" && r.Was != r.Machine {
		fmt.Fprintf(w, "; before, %s did", shown(r.Was))
	}
	fmt.Fprintln(w, ".")
	list(w, "NOT restored as it was:", len(r.Failed), func(i int) string { return r.Failed[i].Path + "  " + r.Failed[i].Reason })
	list(w, "The seal names versions that are not on this copy:", len(r.NotHere.Versions), func(i int) string {
		v := r.NotHere.Versions[i]
		return fmt.Sprintf("%s v%d, recorded in %s", v.Site, v.Version, words.Runs(v.Years))
	})
	if n := len(r.NotHere.Files); n > 0 {
		list(w, fmt.Sprintf("Files that the computer %s had on %s, and that were not on this copy then:", r.NotHere.Machine, words.When(r.NotHere.AsOf)), n, func(i int) string { return r.NotHere.Files[i] })
	}
	if r.NotHere.More > 0 {
		fmt.Fprintf(w, "  … and %s that the list only counts\n", words.Count(r.NotHere.More, "more file"))
	}
	if !r.Wants() {
		fmt.Fprintln(w, "Nothing else is known to exist that did not come back.")
	}
	for _, t := range r.Trouble {
		fmt.Fprintf(w, "note: %s\n", shown(t))
	}
	fmt.Fprintln(w, "\nWhat to do next:")
	line := screen.LineOf(w)
	for _, i := range r.Attention {
		fmt.Fprintf(w, "  %s %s\n", line.Text(shown(i.What)), line.Text(shown(i.Next)))
	}
}

func list(w io.Writer, title string, n int, name func(int) string) {
	if n == 0 {
		return
	}
	fmt.Fprintf(w, "\n%s\n", shown(title))
	for i := range n {
		if i == mostNamed && n > mostNamed+1 {
			fmt.Fprintf(w, "  … and %d more (--json lists all)\n", n-mostNamed)
			return
		}
		fmt.Fprintf(w, "  %s\n", shown(name(i)))
	}
}

func span(d time.Duration) string {
	switch {
	case d < 2*time.Minute:
		return "about a minute"
	case d < 2*time.Hour:
		return fmt.Sprintf("about %d minutes", int(d.Minutes()+0.5))
	}
	return fmt.Sprintf("about %d hours", int(d.Hours()+0.5))
}

func shown(s string) string { return manifest.Printable(s) }
