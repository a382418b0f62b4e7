package verify

import (
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/geo"
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
	Archive  string        `json:"-"`           // where several archives go into one file; set by due.Dues
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

// Label is the visit's site as people write it.
func (v DueVisit) Label() string {
	return Site{Object: v.Object, Site: v.Site, Pasture: v.Pasture}.Label()
}

// When says between which days the visit is expected, and what the visit that was
// made lacks.
func (v DueVisit) When() string {
	text := v.Opens + " to " + v.Closes
	if v.Over {
		text = ClosedText(v.Closes, v.Lacks)
	}
	if len(v.Lacks) > 0 {
		text += "  (lacks " + manifest.Printable(strings.Join(v.Lacks, ", ")) + ")"
	}
	return text
}

// ClosedText says that a season is over, and where what is lacking may still be.
func ClosedText(closes string, lacks []string) string {
	if len(lacks) == 1 && lacks[0] == LackNote {
		return "the season closed on " + closes + "; is the note still on paper?"
	}
	return "the season closed on " + closes + "; is a card still in a camera?"
}
