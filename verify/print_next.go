package verify

import (
	"fmt"
	"slices"
	"strings"
)

// Most command lines that are spelled out for one kind of finding.
const mostRuns = 4

// Asked is the site as a command line names it.
func (s Site) Asked() string {
	name := s.Site
	if s.Pasture != "" && s.Site != "" {
		name = s.Pasture + "/" + s.Site
	}
	if name == "" || Shown(name) != name {
		return s.Object
	}
	return name
}

func (y Year) asked() string {
	return Site{Object: y.Object, Site: y.Site, Pasture: y.Pasture}.Asked()
}

// restoring spells out what brings the recoverable years back to their place.
func (p printer) restoring(r Report) string {
	into := r.Folder
	if into == "" {
		into = "FOLDER"
	}
	var runs []string
	for _, y := range r.Years {
		if y.State != Recoverable {
			continue
		}
		from := y.From
		if len(from) == 0 {
			from = []string{y.asked()}
		}
		for _, site := range from {
			runs = append(runs, p.line.Run("restore", site, "--year", fmt.Sprint(y.Year), "--into", into))
		}
	}
	return p.toRun("To bring them back:", runs)
}

// explaining spells out what puts a year's reason on file.
func (p printer) explaining(years []Year, state string) string {
	for _, y := range years {
		if y.State != state {
			continue
		}
		words := []string{"explain", y.asked(), fmt.Sprint(y.Year), "the reason"}
		if len(y.Lacks) == 1 && state == Short {
			words = append(words, "--lacks", y.Lacks[0])
		}
		lead := "If it is gone for good, say why, once: "
		if state == Skipped {
			lead = "If there was none, say why, once: "
		}
		return "\n" + lead + p.line.Run(words...)
	}
	return ""
}

func (p printer) toRun(lead string, runs []string) string {
	if len(runs) == 1 {
		return lead + " " + runs[0]
	}
	if more := len(runs) - mostRuns; more > 1 {
		runs = append(runs[:mostRuns:mostRuns], fmt.Sprintf("and so on, for %d more", more))
	}
	return lead + "\n  " + strings.Join(runs, "\n  ")
}

// intended spells out what says of photos that they are right where they are.
func (p printer) intended(f Finding) string {
	if !slices.Contains([]string{FoundMisdated, FoundSwapped, FoundElsewhere, FoundTwice}, f.Kind) {
		return ""
	}
	var runs []string
	for _, path := range f.Paths {
		runs = append(runs, p.line.Run("explain", path, "the reason"))
	}
	lead := "The reason, once for each:"
	if len(runs) == 1 {
		lead = "The reason, once:"
	}
	return "\n" + p.toRun(lead, runs)
}
