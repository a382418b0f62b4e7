package text

import (
	"fmt"
	"io"
	"strings"

	"linecamp/daemon/alone"
	"linecamp/manifest/words"
)

// Print says it in a sentence, and names the first files.
func alones(w io.Writer, r alone.Report) {
	switch {
	case r.Unread:
		fmt.Fprintf(w, "This computer never read %s, so what it alone holds is not known.\n", r.Copy)
	case len(r.Paths) > 0:
		fmt.Fprintf(w, "Only %s is known to hold %s:\n", r.Copy, words.Count(len(r.Paths), "file"))
		few(w, "    ", r.Paths)
	case len(r.Versions) > 0:
		fmt.Fprintf(w, "Only %s is known to hold what was recorded as:\n", r.Copy)
		few(w, "    ", r.Versions)
	}
	if r.Any() && len(r.NotAsked) > 0 {
		fmt.Fprintf(w, "Not asked, because out of reach now: %s.\n", strings.Join(r.NotAsked, ", "))
	}
}
