package handover

import (
	"fmt"
	"io"
)

// mostNamed is how many files a screen names; --json names all.
const mostNamed = 12

// Print says in plain words what is in the bag and what is not.
func (r Report) Print(w io.Writer) {
	fmt.Fprintf(w, "%s holds %s of %s, each checked: a bag as RFC 8493 describes it.\n", r.Bag, files(r.Files), r.Archive)
	if n := len(r.Blanked); n > 0 {
		fmt.Fprintf(w, "The position was taken out of %s; changes.csv in the bag names them.\n", count(n, "picture", "pictures"))
	}
	list(w, r.Left, "stayed out; --with-positions hands them over too")
	list(w, r.Failed, "could not be brought")
	for _, m := range r.Missing {
		fmt.Fprintf(w, "Version %d of %s is on no copy within reach.\n", m.Version, m.Site)
	}
	fmt.Fprintf(w, "Whoever receives it can check it: linecamp verify --bag FOLDER, or in the folder: sha256sum -c manifest-sha256.txt\n")
}

func list(w io.Writer, all []File, what string) {
	if len(all) == 0 {
		return
	}
	fmt.Fprintf(w, "\n%s %s:\n", files(len(all)), what)
	for i, f := range all {
		if i == mostNamed {
			fmt.Fprintf(w, "  … and %d more; --json names them all\n", len(all)-mostNamed)
			break
		}
		fmt.Fprintf(w, "  %s  %s\n", f.Path, f.Reason)
	}
	fmt.Fprintln(w)
}

func files(n int) string { return count(n, "file", "files") }

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
