// Package due says which sites to visit, and when. Call [Visits].
package due

import (
	"cmp"
	"slices"
	"time"

	"fmt"

	"linecamp/manifest/words"
	"linecamp/verify"
	"linecamp/verify/figures"
	"linecamp/verify/findings"
	"linecamp/verify/gather"
	"linecamp/verify/years"
)

// Visits lists the visits that are due now, and those whose season opens within so
// many days, taking it that what is due until then is done. So a wider look only adds
// to a closer one. Each season is a visit of its own.
func Visits(in gather.Input, within int) verify.DueReport {
	r := verify.DueReport{Visits: []verify.DueVisit{}, Closed: []verify.ClosedSite{}}
	until := years.Today(in.Now).AddDate(0, 0, within)
	positions := findings.Positions(in)
	look := func(until time.Time) (all []verify.DueVisit) {
		for i := range in.Sites {
			due, closed, open := years.DueOf(&in.Sites[i], in.Now, until)
			if open != nil && !slices.Contains(r.Notes, asked(&in.Sites[i], open)) {
				r.Notes = append(r.Notes, asked(&in.Sites[i], open))
			}
			for _, v := range due {
				v.Position = positions[i]
				all = append(all, v)
			}
			for _, why := range closed {
				c := verify.ClosedSite{Site: in.Sites[i].Site, Pasture: in.Sites[i].Pasture, Why: why}
				if !slices.Contains(r.Closed, c) {
					r.Closed = append(r.Closed, c)
				}
			}
		}
		return all
	}
	r.Visits = append(r.Visits, look(until)...)
	slices.SortStableFunc(r.Visits, func(a, b verify.DueVisit) int {
		return cmp.Or(cmp.Compare(a.Closes, b.Closes), cmp.Compare(a.Opens, b.Opens), cmp.Compare(a.Pasture, b.Pasture), cmp.Compare(a.Site, b.Site))
	})
	if len(r.Visits) > 0 {
		return r
	}
	closed := r.Closed
	if later := look(years.Today(in.Now).AddDate(figures.YearsAhead, 0, 0)); len(later) > 0 {
		next := slices.MinFunc(later, func(a, b verify.DueVisit) int { return cmp.Compare(a.Opens, b.Opens) })
		opens, _ := time.Parse(time.DateOnly, next.Opens)
		r.Next, r.Ahead = &next, int(opens.Sub(years.Today(in.Now)).Hours()/24)
	}
	r.Closed = closed // what is closed in years to come is nobody's question now
	return r
}

// asked says in a sentence what the folders of a year that may be visited keep open.
func asked(s *gather.SiteItems, folders []string) string {
	at := verify.Shown(folders[0])
	if more := len(folders) - 1; more > 0 {
		at += fmt.Sprintf(" and %s", words.Count(int64(more), "other folder"))
	}
	return fmt.Sprintf("%s is left out where photos in %s may be of the visit; once their day is known, it is known too", verify.Shown(s.Label("")), at)
}
