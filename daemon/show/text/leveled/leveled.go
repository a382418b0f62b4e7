// Package leveled says where an archive stands on the NDSA Levels. Call [Print].
package leveled

import (
	"fmt"
	"io"

	"linecamp/daemon/levels"
	"linecamp/daemon/show/screen"
)

// Print draws the grid: each area with its level, what it rests on, and the one
// next step.
func Print(w io.Writer, r levels.Report) {
	line := screen.LineOf(w)
	fmt.Fprintf(w, "%s on the %s:\n", r.Archive, r.Source)
	for _, a := range r.Areas {
		fmt.Fprintf(w, "\n%-10s level %d of 4\n", a.Area, a.Level)
		for _, e := range a.Evidence {
			fmt.Fprintf(w, "    %s\n", e)
		}
		if a.Next == "" {
			continue
		}
		for _, p := range a.Points {
			if p.Level == a.Level+1 && p.Answer != levels.Met {
				why := string(p.Answer)
				if p.Answer != levels.Unknown {
					why += ": " + p.Evidence
				}
				fmt.Fprintf(w, "  Level %d asks: %s (%s)\n", p.Level, p.Asks, why)
			}
		}
		fmt.Fprintf(w, "  Next: %s\n", line.Text(a.Next))
	}
	fmt.Fprintln(w, "\nWhat only a person can answer counts as not known, and no level is claimed on it.")
}
