package verify

import (
	"cmp"
	"regexp"
	"slices"
)

// Year is one year of one site.
type Year struct {
	Site    string `json:"site"`
	Pasture string `json:"pasture"`
	Object  string `json:"object"`
	Year    int    `json:"year"`
	State   string `json:"state"`
	// Lacks says what is lacking: views, "note" or "photo" where the year is
	// short or due, paths where it is recoverable or lost.
	Lacks []string `json:"lacks"`
	// Opens and Closes are the days ("2026-06-08") between which the visit of
	// a due year is expected.
	Opens  string `json:"opens,omitempty"`
	Closes string `json:"closes,omitempty"`
	// Over: the season of a due year has closed, and its grace has not.
	Over bool   `json:"season_over,omitempty"`
	Why  string `json:"why,omitempty"` // the explanation on file, or why the site was closed
	// Closed: the explanation is that the site's card says it was closed.
	Closed bool `json:"closed,omitempty"`
	// Late is the year in which the visit of this one was expected.
	Late int `json:"late,omitempty"`
	// Undated are folders whose photos may be what the year lacks; it is neither
	// short nor skipped while nobody says of which day they are, and is called due.
	Undated []string `json:"undated,omitempty"`
	// Baseline: a lone visit long before the regular ones.
	Baseline bool `json:"baseline,omitempty"`
	// From are the objects that have the files of a recoverable year, where they
	// are not all the site's own.
	From []string `json:"from,omitempty"`
}

// What Year.State can be.
const (
	Whole       = "whole"       // everything expected is there
	Short       = "short"       // something is lacking
	Skipped     = "skipped"     // due, and nothing ever recorded
	Recoverable = "recoverable" // no longer in the working folder; a copy has it
	Lost        = "lost"        // recorded once, no good bytes anywhere
	Due         = "due"         // its season is not over, or ended within the grace
	Explained   = "explained"   // a person put the reason on file
)

// What a year can lack beside views.
const (
	LackNote = "note"
	LackAny  = "photo"
	// lackVisit is a whole visit, of a season: "visit of 06-21", by the middle
	// of the season, or its first day where a card declares it.
	LackVisit = "visit"
)

var lackShape = regexp.MustCompile(`^(?:(?:\d+ of \d+ )(.*?) ?photos|(.*?))(?: of \d\d-\d\d)?$`)

// LacksView reports whether a view, or "note", is among what the year lacks, be it
// in one of its visits or some of its photos only.
func (y Year) LacksView(view string) bool {
	return slices.ContainsFunc(y.Lacks, func(l string) bool {
		m := lackShape.FindStringSubmatch(l)
		return l == view || m != nil && cmp.Or(m[1], m[2], LackAny) == view
	})
}

// Wants reports whether the year is a fault: what is due can still come.
func (y Year) Wants() bool {
	switch y.State {
	case Lost, Recoverable, Short, Skipped:
		return true
	}
	return false
}
