package verify

import (
	"time"

	"linecamp/manifest"
)

// Where the bytes of an item are.
type Where int

const (
	InWorking Where = iota // in the working folder
	OnCopy                 // no longer in the working folder, good on a copy
	Nowhere                // recorded once, and no good bytes known anywhere
)

// Item is one file that a site has, or once had.
type Item struct {
	Path  string // relative to the working folder
	View  string
	Kind  manifest.Kind
	Visit string // "2019-06-21", "2019", or "" for a file of no visit
	Where Where
}

// SiteItems are a site's items, with what people decided about it.
type SiteItems struct {
	Site, Pasture, Object string
	Items                 []Item
	Decisions             []manifest.Decision
}

// YearsInput is what the years are judged by.
type YearsInput struct {
	Now   time.Time
	Sites []SiteItems
}

// Year is one year of one site.
type Year struct {
	Site    string   `json:"site"`
	Pasture string   `json:"pasture"`
	Object  string   `json:"object"`
	Year    int      `json:"year"`
	State   string   `json:"state"`
	Lacks   []string `json:"lacks"`
	// Opens and Closes are the days ("2026-06-08") between which a due visit
	// is expected.
	Opens  string `json:"opens,omitempty"`
	Closes string `json:"closes,omitempty"`
	Why    string `json:"why,omitempty"` // the explanation on file
}

// What Year.State can be.
const (
	Whole       = "whole"
	Short       = "short"
	Skipped     = "skipped"
	Recoverable = "recoverable"
	Lost        = "lost"
	Due         = "due"
	Explained   = "explained"
)

// Years judges every year of every site.
func Years(in YearsInput) []Year { return nil }
