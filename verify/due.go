package verify

import (
	"fmt"
	"io"
	"strings"

	"linecamp/manifest/geo"
	"linecamp/manifest/words"
)

// DueReport says which sites to visit, and when.
type DueReport struct {
	Archive string       `json:"archive"`
	Visits  []DueVisit   `json:"visits"` // by the day their season closes
	Closed  []ClosedSite `json:"closed"` // sites that are left out, and why
	Next    *DueVisit    `json:"next"`   // the first to open after that, where none is due; null where none is expected
	Notes   []string     `json:"notes,omitempty"`
	Ahead   int          `json:"-"` // days until Next opens
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
	archive  string        // set by Dues
}

// ClosedSite is a site that is closed now.
type ClosedSite struct {
	Site    string `json:"site"`
	Pasture string `json:"pasture"`
	Why     string `json:"why"`
}

// WithoutPositions leaves the positions out.
func (r *DueReport) WithoutPositions() {
	for i := range r.Visits {
		r.Visits[i].Position = nil
	}
	if r.Next != nil {
		r.Next.Position = nil
	}
}

// Wants is false: what is due can still come.
func (DueReport) Wants() bool { return false }

// Print writes the list for a person on the way out.
func (r DueReport) Print(w io.Writer) {
	if len(r.Visits) == 0 {
		fmt.Fprintln(w, "No visit is due.")
		if n := r.Next; n != nil {
			fmt.Fprintf(w, "The next season opens on %s, at %s. To see it: %s\n", n.Opens, Shown(n.label()), words.Of(w).Run("due", "--within", fmt.Sprintf("%dd", r.Ahead)))
		}
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
