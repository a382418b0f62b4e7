package text

import (
	"fmt"
	"io"

	"linecamp/daemon/show/screen"
	"linecamp/verify"
)

// Print writes the list for a person on the way out.
func due(w io.Writer, r verify.DueReport) {
	if len(r.Visits) == 0 {
		fmt.Fprintln(w, "No visit is due.")
		if n := r.Next; n != nil {
			fmt.Fprintf(w, "The next season opens on %s, at %s. To see it: %s\n", n.Opens, shown(n.Label()), screen.LineOf(w).Run("due", "--within", fmt.Sprintf("%dd", r.Ahead)))
		}
	}
	for _, v := range r.Visits {
		l := fmt.Sprintf("%s  %s", shown(v.Label()), v.When())
		if v.Position != nil {
			l += "  at " + v.Position.String()
		}
		fmt.Fprintln(w, l)
	}
	for _, c := range r.Closed {
		fmt.Fprintf(w, "%s is left out: %s\n", shown(verify.Site{Site: c.Site, Pasture: c.Pasture}.Label()), shown(c.Why))
	}
	for _, n := range r.Notes {
		fmt.Fprintf(w, "%s.\n", n)
	}
	caution(w)
}
