package decide

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"linecamp/daemon/archive"
	"linecamp/manifest"
	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/gather"
	"linecamp/verify/years"
)

// sensible holds an explanation of years against the sites it is for. A view
// that none of them knows and years that are in none of their records are
// refused, since they would be on file and explain nothing; what was not missing
// anyway comes back as notes.
func sensible(a *archive.Archive, k *archive.Known, t *tally.Result, d *manifest.Decision, sites []verify.Site) (notes []string, err error) {
	in, err := a.JudgedBy(t, k.Copies, k, nil)
	if err != nil {
		return nil, err
	}
	in.Join()
	meant := func(object string) bool {
		return slices.ContainsFunc(sites, func(s verify.Site) bool { return s.Object == object })
	}
	in.Sites = slices.DeleteFunc(in.Sites, func(s gather.SiteItems) bool {
		earlier := func(f verify.Former) bool { return meant(f.Object) }
		return !meant(s.Object) && !slices.ContainsFunc(s.Formers, earlier)
	})
	judged := years.Judge(in.Input)
	if err := knownView(in.Sites, judged, d.View); err != nil {
		return nil, err
	}
	if len(judged) == 0 {
		return nil, nil
	}
	first, last := judged[0].Year, judged[0].Year
	for _, y := range judged {
		first, last = min(first, y.Year), max(last, y.Year)
	}
	for _, part := range d.Years {
		from, to := span(part)
		if to < first || from > last {
			return nil, fmt.Errorf("%w: %s is outside the record, which goes from %d to %d; if the site is older, say so by first_year in its site.toml", ErrExplain, part, first, last)
		}
		for _, y := range judged {
			if from <= y.Year && y.Year <= to {
				if n := notMissing(y, d.View); n != "" {
					notes = append(notes, n)
				}
			}
		}
	}
	return notes, nil
}

// span is the first and the last year of "2014" or "2013-2015".
func span(part string) (from, to int) {
	a, b, ranged := strings.Cut(part, "-")
	if !ranged {
		b = a
	}
	from, _ = strconv.Atoi(a) // explainedYears has read them
	to, _ = strconv.Atoi(b)
	return from, to
}

// notMissing says that there was nothing to explain in a year; "" if there was.
func notMissing(y verify.Year, view string) string {
	at := fmt.Sprintf("%s, %d", verify.Shown(verify.Site{Object: y.Object, Site: y.Site, Pasture: y.Pasture}.Label()), y.Year)
	switch {
	case y.State == verify.Whole:
		return at + " is whole: nothing is missing there"
	case view != "" && y.State == verify.Short && !y.LacksView(view):
		return at + " does not lack " + view + ", but " + strings.Join(y.Lacks, ", ")
	}
	return ""
}

// knownView refuses a view that the sites know nothing of.
func knownView(sites []gather.SiteItems, judged []verify.Year, view string) error {
	views := map[string]bool{"note": true}
	for _, s := range sites {
		for _, it := range s.List() {
			views[it.View] = true
		}
		for _, v := range s.Card.Views {
			views[v.Name] = true
		}
		for _, e := range s.Card.Expect {
			for _, v := range e.Views {
				views[v] = true
			}
		}
	}
	for _, y := range judged {
		if y.State == verify.Short || y.State == verify.Due {
			for _, l := range y.Lacks {
				views[l] = true
			}
		}
	}
	delete(views, "")
	delete(views, tally.Untold)
	if view == "" || views[view] {
		return nil
	}
	return fmt.Errorf("%w: no site here has a view %q; there are: %s", ErrExplain, view, strings.Join(slices.Sorted(maps.Keys(views)), ", "))
}
