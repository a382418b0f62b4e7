package tally

import "io"

// Report is the tally as commands print it.
type Report struct {
	Archive string       `json:"archive"`
	Folder  string       `json:"folder"`
	Files   int          `json:"files"`
	Bytes   int64        `json:"bytes"`
	Sites   []ReportSite `json:"sites"`
	Unfiled []ReportFile `json:"unfiled"`
	Waiting []ReportWait `json:"waiting"`
	Passed  []ReportWait `json:"passed"`
	Litter  int          `json:"litter"`
}

// ReportSite is one site of a Report.
type ReportSite struct {
	ID      string        `json:"id"`
	Site    string        `json:"site"`
	Pasture string        `json:"pasture"`
	Folder  string        `json:"folder"`
	Visits  []ReportVisit `json:"visits"`
}

// ReportVisit is one visit of a ReportSite.
type ReportVisit struct {
	Date   string       `json:"date"`
	Year   int          `json:"year"`
	Season string       `json:"season,omitempty"`
	Photos []ReportFile `json:"photos"`
	Notes  []ReportFile `json:"notes"`
}

// ReportFile is one file of a Report.
type ReportFile struct {
	Path  string `json:"path"`
	View  string `json:"view,omitempty"`
	Bytes int64  `json:"bytes"`
}

// ReportWait is a path and why it is listed.
type ReportWait struct {
	Path   string `json:"path"`
	Reason string `json:"reason"`
}

// Report makes the report; id gives a site's id, "" if it has none yet.
func (r *Result) Report(archive string, id func(*Site) string) Report { panic("to come") }

// Print writes the report for a person.
func (r Report) Print(w io.Writer) { panic("to come") }
