package text

import (
	"fmt"
	"io"

	"linecamp/daemon/many"
	"linecamp/daemon/pool"
)

// machine says what only whoever runs the machine is told: which drive stands in the
// place of another, whose it is, and what is wrong with the machine's own settings.
func machine(w io.Writer, r many.Machine) {
	for _, p := range r.Plugged {
		switch {
		case p.Archive != "" && p.Where != "":
			fmt.Fprintf(w, "At %s is %s of %s, kept at: %s.\n", shown(p.At), shown(p.Copy), p.Archive, shown(p.Where))
		case p.Archive != "":
			fmt.Fprintf(w, "At %s is %s of %s.\n", shown(p.At), shown(p.Copy), p.Archive)
		default:
			fmt.Fprintf(w, "At %s is a drive that no settings here name; it is a copy of an archive called %s.\n", shown(p.At), shown(p.Of))
		}
	}
	limits(w, r.Limits)
}

func limits(w io.Writer, s pool.Settings) {
	if s.Fault != nil {
		fmt.Fprintf(w, "The settings of this computer hold a mistake, and the usual limits are kept to:\n  %s\n", shown(s.Fault.Error()))
	}
}
