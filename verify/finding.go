package verify

import "slices"

// Finding is something about what is there: a photo, a note, a card. What is
// not there is told by the years.
type Finding struct {
	Site    string `json:"site"`
	Pasture string `json:"pasture"`
	Object  string `json:"object"`
	Visit   string `json:"visit"` // "2019-06-21", "2019", or ""
	Kind    string `json:"kind"`
	// Paths are the files it is about, relative to the working folder.
	Paths []string `json:"paths"`
	Text  string   `json:"text"` // what was found, with the figure behind it
	Todo  string   `json:"todo"` // what to do about it
	// Note is worth knowing and asks for nothing.
	Note bool `json:"note,omitempty"`
	// Why is the explanation a person put on file for all of the paths.
	Why string `json:"why,omitempty"`

	Distances []float64 `json:"-"` // in meters, as they stand in Text
}

// What Finding.Kind can be.
const (
	FoundBroken    = "broken"        // a photo cut short, or damaged in its structure
	FoundEmpty     = "empty"         // a note without anything in it
	FoundCard      = "card"          // a fault in a card or a GPX file
	FoundDeclared  = "declared"      // a site declared to be where its photos were not taken
	FoundMisdated  = "misdated"      // some photos of a visit were taken at another time
	FoundUndated   = "undated"       // photos of no known day
	FoundSwapped   = "swapped"       // two visits have each other's photos
	FoundElsewhere = "elsewhere"     // taken too far from the site
	FoundTwice     = "twice"         // the same bytes under two sites or years
	FoundDouble    = "double"        // a folder that doubles the one beside it
	FoundClock     = "clock"         // one clock error through a whole visit
	FoundScan      = "scan"          // scanned or exported later
	FoundSeason    = "out of season" // a visit far from its season
	FoundLate      = "late"          // a visit that closes a gap
)

// Intended reports whether a person can end the finding by saying, once for each of its
// photos, that they are right where they are.
func (f Finding) Intended() bool {
	return f.Wants() && slices.Contains([]string{FoundMisdated, FoundSwapped, FoundElsewhere, FoundTwice}, f.Kind)
}

// Wants reports whether the finding asks a person for something.
func (f Finding) Wants() bool { return !f.Note && f.Why == "" }
