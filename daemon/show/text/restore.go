package text

import (
	"fmt"
	"io"

	"linecamp/daemon/show/screen"
	"linecamp/manifest/words"
	"linecamp/verify/restore"
)

// Print writes the report for a person.
func restored(w io.Writer, r restore.Report) {
	if r.Nothing != "" {
		fmt.Fprintf(w, "Nothing restored: %s.\n", shown(screen.LineOf(w).Text(r.Nothing)))
		return
	}
	fmt.Fprintf(w, "Restored %s, %s into %s; every byte matched its digest.\n", words.Count(r.Files, "file"), words.Size(r.Bytes), shown(r.Into))
	if r.Already > 0 {
		fmt.Fprintf(w, "%s there already.\n", words.Count(r.Already, "of them was", "of them were"))
	}
	if len(r.Failed) > 0 {
		fmt.Fprintf(w, "\nNOT restored as it was: %s:\n", words.Count(len(r.Failed), "file"))
		for i, f := range r.Failed {
			if i == mostLines && len(r.Failed) > mostLines+1 {
				fmt.Fprintf(w, "  … and %d more (--json lists all)\n", len(r.Failed)-mostLines)
				break
			}
			fmt.Fprintf(w, "  %s  %s\n", shown(f.Path), shown(f.Reason))
		}
	}
	if len(r.Missing) > 0 {
		fmt.Fprintf(w, "\nThe seal names versions that no copy used here has; another copy may have them:\n")
		for i, m := range r.Missing {
			if i == mostLines && len(r.Missing) > mostLines+1 {
				fmt.Fprintf(w, "  … and %d more (--json lists all)\n", len(r.Missing)-mostLines)
				break
			}
			fmt.Fprintf(w, "  %s v%d of %s\n", shown(m.Site), m.Version, m.Created.Local().Format("2006-01-02 15:04"))
		}
	}
	if len(r.Trouble) > 0 {
		fmt.Fprintln(w)
	}
	for _, t := range r.Trouble {
		fmt.Fprintf(w, "note: %s\n", shown(t))
	}
}
