package text

import (
	"fmt"

	"linecamp/verify"
)

func alikeAsked(s verify.AlikeSite) string {
	return verify.Site{Object: s.Object, Site: s.Site, Pasture: s.Pasture}.Asked()
}

func alikeLabel(s verify.AlikeSite) string {
	return fmt.Sprintf("%s (%d-%d)", verify.Site{Object: s.Object, Site: shown(s.Site), Pasture: shown(s.Pasture)}.Label(), s.First, s.Last)
}

// alike asks about sites that look like one.
func (p printer) alike(all []verify.Alike) {
	var lines, one, two []string
	for _, a := range all {
		lines = append(lines, fmt.Sprintf("%s and %s: %s", alikeLabel(a.Now), alikeLabel(a.Former), p.units.Reword(a.Text, a.Distances...)))
		both := []string{alikeAsked(a.Now), alikeAsked(a.Former)}
		if a.Now.First <= a.Former.Last {
			both = append(both, "--overlap")
		}
		one = append(one, p.line.Run(append([]string{"same"}, both...)...))
		two = append(two, p.line.Run("same", "--no", alikeAsked(a.Now), alikeAsked(a.Former)))
	}
	p.list("Perhaps one stake under two names, which is no fault", lines, p.toRun("If it is one:", one)+"\n"+p.toRun("If they are two:", two))
}
