package verify

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"linecamp/manifest/geo"
)

// DueReport says which sites to visit, and when.
type DueReport struct {
	Archive string       `json:"archive"`
	Visits  []DueVisit   `json:"visits"` // by the day their season closes
	Closed  []ClosedSite `json:"closed"` // sites that are left out, and why
	Notes   []string     `json:"notes,omitempty"`
}

// DueVisit is a visit that can be made now, or soon.
type DueVisit struct {
	Site     string        `json:"site"`
	Pasture  string        `json:"pasture"`
	Object   string        `json:"object"`
	Year     int           `json:"year"`
	Opens    string        `json:"opens"`
	Closes   string        `json:"closes"`
	Over     bool          `json:"season_over"` // it has closed, and is not given up yet
	Lacks    []string      `json:"lacks"`       // what the visit made this year lacks; empty where none was made
	Position *geo.Position `json:"position"`    // null where it is not known, or not to be shown
}

// ClosedSite is a site that is closed now.
type ClosedSite struct {
	Site    string `json:"site"`
	Pasture string `json:"pasture"`
	Why     string `json:"why"`
}

// DueVisits lists the visits that are due now, and those whose season opens within so
// many days.
func DueVisits(in YearsInput, within int) DueReport {
	r := DueReport{Visits: []DueVisit{}, Closed: []ClosedSite{}}
	later := in
	later.Now = in.Now.AddDate(0, 0, within)
	now := Years(in)
	until := later.Now.Format(time.DateOnly)
	all := now
	for _, y := range Years(later) {
		if !slices.ContainsFunc(now, func(n Year) bool {
			return n.Object == y.Object && n.Site == y.Site && n.Pasture == y.Pasture && n.Year == y.Year
		}) {
			all = append(all, y)
		}
	}
	positions := places(in)
	for _, y := range all {
		i := slices.IndexFunc(in.Sites, func(s SiteItems) bool { return s.Site == y.Site && s.Pasture == y.Pasture && s.Object == y.Object })
		switch {
		case y.State == Explained && y.Closed && y.Year == in.Now.Year():
			r.Closed = append(r.Closed, ClosedSite{y.Site, y.Pasture, y.Why})
		case y.State == Due && y.Opens <= until:
			v := DueVisit{Site: y.Site, Pasture: y.Pasture, Object: y.Object, Year: y.Year, Opens: y.Opens, Closes: y.Closes, Over: y.Closes < in.Now.Format(time.DateOnly), Lacks: y.Lacks}
			if i >= 0 && positions[i].known {
				v.Position = &positions[i].at
			}
			r.Visits = append(r.Visits, v)
		}
	}
	slices.SortStableFunc(r.Visits, func(a, b DueVisit) int {
		return cmp.Or(cmp.Compare(a.Closes, b.Closes), cmp.Compare(a.Pasture, b.Pasture), cmp.Compare(a.Site, b.Site))
	})
	return r
}

// WithoutPositions leaves the positions out.
func (r *DueReport) WithoutPositions() {
	for i := range r.Visits {
		r.Visits[i].Position = nil
	}
}

// Wants is false: what is due can still come.
func (DueReport) Wants() bool { return false }

// Print writes the list for a person on the way out.
func (r DueReport) Print(w io.Writer) {
	if len(r.Visits) == 0 {
		fmt.Fprintln(w, "No visit is due.")
	}
	for _, v := range r.Visits {
		l := fmt.Sprintf("%s  %s", Shown(v.label()), v.when())
		if v.Position != nil {
			l += "  at " + v.Position.String()
		}
		fmt.Fprintln(w, l)
	}
	for _, c := range r.Closed {
		fmt.Fprintf(w, "%s is left out: %s\n", Shown(Site{Site: c.Site, Pasture: c.Pasture}.Label()), Shown(c.Why))
	}
	for _, n := range r.Notes {
		fmt.Fprintf(w, "%s.\n", n)
	}
	if len(r.Visits) > 0 {
		fmt.Fprintf(w, "\n%s\n", caution)
	}
}

// caution is common practice in field work, from no one source.
const caution = "Before you go: tell somebody your route and when you will be back, take water, look up the weather, fire restrictions and road closures, watch for snakes and stock, and leave gates as you find them."

func (v DueVisit) label() string {
	return Site{Object: v.Object, Site: v.Site, Pasture: v.Pasture}.Label()
}

func (v DueVisit) when() string {
	text := v.Opens + " to " + v.Closes
	if v.Over {
		text = closedText(v.Closes, v.Lacks)
	}
	if len(v.Lacks) > 0 {
		text += "  (lacks " + strings.Join(shownAll(v.Lacks), ", ") + ")"
	}
	return text
}
