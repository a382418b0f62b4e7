package text

import (
	"fmt"
	"io"

	"linecamp/daemon/handover"
	"linecamp/manifest/words"
)

// mostNamed is how many files a screen names; --json names all.
const mostNamed = 12

// Print says in plain words what is in the bag and what is not.
func handedOver(w io.Writer, r handover.Report) {
	fmt.Fprintf(w, "%s holds %s of %s, each checked: a bag as RFC 8493 describes it.\n", r.Bag, words.Count(r.Files, "file"), r.Archive)
	if n := len(r.Blanked); n > 0 {
		fmt.Fprintf(w, "The position was taken out of %s; changes.csv in the bag names them.\n", words.Count(n, "picture"))
	}
	bagFiles(w, r.Left, "stayed out; --with-positions hands them over too")
	bagFiles(w, r.Failed, "could not be brought")
	for _, m := range r.Missing {
		fmt.Fprintf(w, "Version %d of %s is on no copy within reach.\n", m.Version, m.Site)
	}
	fmt.Fprintf(w, "Whoever receives it can check it: linecamp verify --bag FOLDER, or in the folder: sha256sum -c manifest-sha256.txt\n")
}

func bagFiles(w io.Writer, all []handover.File, what string) {
	if len(all) == 0 {
		return
	}
	fmt.Fprintf(w, "\n%s %s:\n", words.Count(len(all), "file"), what)
	for i, f := range all {
		if i == mostNamed {
			fmt.Fprintf(w, "  … and %d more; --json names them all\n", len(all)-mostNamed)
			break
		}
		fmt.Fprintf(w, "  %s  %s\n", f.Path, f.Reason)
	}
	fmt.Fprintln(w)
}
