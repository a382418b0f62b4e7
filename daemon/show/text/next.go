package text

import (
	"fmt"
	"strings"

	"linecamp/verify"
)

// Most command lines that are spelled out for one kind of finding.
const mostRuns = 4

// restoring spells out what brings the recoverable years back to their place.
func (p printer) restoring(r verify.Report) string {
	into := r.Folder
	if into == "" {
		into = "FOLDER"
	}
	var runs []string
	for _, y := range r.Years {
		if y.State != verify.Recoverable {
			continue
		}
		from := y.From
		if len(from) == 0 {
			from = []string{yearSite(y).Asked()}
		}
		for _, site := range from {
			runs = append(runs, p.line.Run("restore", site, "--year", fmt.Sprint(y.Year), "--into", into))
		}
	}
	if len(runs) > mostRuns {
		return "To bring back every file that is no longer there: " + p.line.Run("restore", "--everything", "--into", into) +
			"\nTo bring back one year: " + runs[0]
	}
	return p.toRun("To bring them back:", runs)
}

// explaining spells out what puts a year's reason on file.
func (p printer) explaining(years []verify.Year, state string) string {
	for _, y := range years {
		if y.State != state {
			continue
		}
		words := []string{"explain", yearSite(y).Asked(), fmt.Sprint(y.Year), "the reason"}
		if len(y.Lacks) == 1 && state == verify.Short {
			words = append(words, "--lacks", y.Lacks[0])
		}
		lead := "If it is gone for good, say why, once: "
		if state == verify.Skipped {
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
func (p printer) intended(f verify.Finding) string {
	if !f.Intended() {
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

func yearSite(y verify.Year) verify.Site {
	return verify.Site{Object: y.Object, Site: y.Site, Pasture: y.Pasture}
}
