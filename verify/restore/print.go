package restore

import (
	"fmt"
	"io"

	"linecamp/manifest/words"
	"linecamp/verify"
)

const mostLines = 15

// Print writes the report for a person.
func (r Report) Print(w io.Writer) {
	if r.Nothing != "" {
		fmt.Fprintf(w, "Nothing restored: %s.\n", verify.Shown(words.Of(w).Text(r.Nothing)))
		return
	}
	fmt.Fprintf(w, "Restored %s, %s into %s; every byte matched its digest.\n", files(r.Files), words.Size(r.Bytes), verify.Shown(r.Into))
	if r.Already > 0 {
		fmt.Fprintf(w, "%s of them were there already.\n", files(r.Already))
	}
	if len(r.Failed) > 0 {
		fmt.Fprintf(w, "\nNOT restored as it was: %s:\n", files(len(r.Failed)))
		for i, f := range r.Failed {
			if i == mostLines && len(r.Failed) > mostLines+1 {
				fmt.Fprintf(w, "  … and %d more (--json lists all)\n", len(r.Failed)-mostLines)
				break
			}
			fmt.Fprintf(w, "  %s  %s\n", verify.Shown(f.Path), verify.Shown(f.Reason))
		}
	}
	if len(r.Missing) > 0 {
		fmt.Fprintf(w, "\nThe seal names versions that no copy used here has; another copy may have them:\n")
		for i, m := range r.Missing {
			if i == mostLines && len(r.Missing) > mostLines+1 {
				fmt.Fprintf(w, "  … and %d more (--json lists all)\n", len(r.Missing)-mostLines)
				break
			}
			fmt.Fprintf(w, "  %s v%d of %s\n", verify.Shown(m.Site), m.Version, m.Created.Local().Format("2006-01-02 15:04"))
		}
	}
	if len(r.Trouble) > 0 {
		fmt.Fprintln(w)
	}
	for _, t := range r.Trouble {
		fmt.Fprintf(w, "note: %s\n", verify.Shown(t))
	}
}

func files(n int) string {
	if n == 1 {
		return "1 file"
	}
	return fmt.Sprintf("%d files", n)
}
