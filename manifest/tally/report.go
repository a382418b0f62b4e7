package tally

import (
	"linecamp/manifest"
)

// Report is the tally as commands print it. Paths are as the archive has
// them: text, with bytes that are none replaced.
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
	Folder  string        `json:"folder"` // "" where no one folder is the site's
	Visits  []ReportVisit `json:"visits"`
	Other   []ReportFile  `json:"other,omitempty"` // the site's files of no one visit
}

// ReportVisit is one visit of a ReportSite.
type ReportVisit struct {
	Date   string       `json:"date"`
	Last   string       `json:"last,omitempty"`
	Year   int          `json:"year"`
	Season string       `json:"season,omitempty"`
	Photos []ReportFile `json:"photos"`
	Notes  []ReportFile `json:"notes"`            // kept with the visit
	Shared []ReportFile `json:"shared,omitempty"` // notes kept elsewhere that serve it
	Other  []ReportFile `json:"other,omitempty"`  // companions, cards, what is not understood
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

// Report makes the report; id gives a site's id, "" if it has none yet, and
// may be nil.
func (r *Result) Report(archive string, id func(*Site) string) Report {
	p := Report{Archive: archive, Folder: text(r.Folder), Files: r.Files, Bytes: r.Bytes, Litter: r.Litter,
		Sites: make([]ReportSite, len(r.Sites)), Unfiled: reportFiles(r.Unfiled),
		Waiting: reportWaits(r.Waiting), Passed: reportWaits(r.Passed)}
	for i := range r.Sites {
		s := &r.Sites[i]
		q := ReportSite{Site: text(s.Site), Pasture: text(s.Pasture), Folder: logical(s.Base),
			Visits: make([]ReportVisit, len(s.Visits)), Other: reportFiles(s.Loose)}
		if id != nil {
			q.ID = id(s)
		}
		for k := range s.Visits {
			v := &s.Visits[k]
			q.Visits[k] = ReportVisit{Date: v.Date, Last: v.Last, Year: v.Year, Season: v.Season, Photos: reportFiles(v.Photos),
				Notes: reportFiles(v.Notes), Shared: reportFiles(v.Shared), Other: reportFiles(v.Others)}
		}
		p.Sites[i] = q
	}
	return p
}

func reportFiles(files []File) []ReportFile {
	list := make([]ReportFile, len(files))
	for i, f := range files {
		list[i] = ReportFile{Path: logical(f.Path), Bytes: f.Size}
		if f.Kind == manifest.KindPhoto {
			list[i].View = f.View
		}
	}
	return list
}

func reportWaits(waits []Waiting) []ReportWait {
	list := make([]ReportWait, len(waits))
	for i, w := range waits {
		list[i] = ReportWait{logical(w.Path), w.Reason}
	}
	return list
}

func logical(raw string) string {
	if raw == "" {
		return ""
	}
	l, _ := manifest.Logical(raw)
	return l
}
