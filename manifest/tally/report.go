package tally

import (
	"linecamp/manifest"
	"linecamp/manifest/facts"
	"linecamp/manifest/walk"
)

// Report is the tally as JSON has it, each file spelled out. Paths are as the
// archive has them: text, with bytes that are none replaced.
type Report struct {
	Archive string       `json:"archive"`
	Folder  string       `json:"folder"`
	Files   int          `json:"files"`
	Bytes   int64        `json:"bytes"`
	Sites   []ReportSite `json:"sites"`
	Unfiled []ReportFile `json:"unfiled"`
	// Undated are photos of a site of which nothing tells the day.
	Undated []ReportUndated `json:"undated"`
	Doubles []ReportDouble  `json:"doubles"`
	Waiting []ReportWait    `json:"waiting"`
	Passed  []ReportWait    `json:"passed"`
	Litter  int             `json:"litter"`
	LeftOut []string        `json:"left_out"` // of the litter, the first hundred names
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
	Topics []string     `json:"topics,omitempty"` // what its text notes tell of
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
	// Of photos, where known; see [facts.Facts]. Degrees are of WGS 84, Error is in
	// meters, and Orientation is Exif's.
	Taken       string   `json:"taken,omitempty"`
	Camera      string   `json:"camera,omitempty"`
	Orientation int      `json:"orientation,omitempty"`
	Width       uint32   `json:"width,omitempty"`
	Height      uint32   `json:"height,omitempty"`
	Latitude    *float64 `json:"latitude,omitempty"`
	Longitude   *float64 `json:"longitude,omitempty"`
	Error       float64  `json:"error,omitempty"`
}

// ReportWait is a path and why it is listed.
type ReportWait struct {
	Path   string `json:"path"`
	Reason string `json:"reason"`
}

// ReportUndated is a folder with photos of no known day; see [Undated].
type ReportUndated struct {
	Site    string   `json:"site"`
	Pasture string   `json:"pasture"`
	Folder  string   `json:"folder"`
	Photos  int      `json:"photos"`
	Days    []string `json:"days"`  // that its name may mean
	Years   []int    `json:"years"` // that it may be of
	Filed   bool     `json:"filed"` // they count for their year
}

// ReportDouble is a folder that doubles the one beside it; see [Double].
type ReportDouble struct {
	Folder string `json:"folder"`
	Of     string `json:"of"`
	Files  int    `json:"files"`
	Same   int    `json:"same"`
}

// Outline is the report without the files: Sites, Unfiled and Waiting are left empty.
// [Result.WriteJSON] writes them.
func (r *Result) Outline(archive string) Report {
	p := Report{Archive: archive, Folder: text(r.Folder), Files: r.Files, Bytes: r.Bytes, Litter: r.Litter, LeftOut: []string{},
		Sites: []ReportSite{}, Unfiled: []ReportFile{}, Undated: []ReportUndated{}, Doubles: []ReportDouble{},
		Waiting: []ReportWait{}, Passed: ReportWaits(r.Passed)}
	for _, path := range r.LeftOut {
		p.LeftOut = append(p.LeftOut, Logical(path))
	}
	for _, d := range r.Doubles() {
		p.Doubles = append(p.Doubles, ReportDouble{Logical(d.Folder), Logical(d.Of), d.Files, d.Same})
	}
	for _, u := range r.Undated() {
		p.Undated = append(p.Undated, ReportUndated{text(u.Site), text(u.Pasture), Logical(u.Folder), u.Photos,
			append([]string{}, u.Days...), append([]int{}, u.Years...), u.Filed})
	}
	return p
}

// report makes the report of a site; id gives its id, "" if it has none yet, and
// may be nil.
func (s *Site) report(id func(*Site) string) ReportSite {
	q := ReportSite{Site: text(s.Site), Pasture: text(s.Pasture), Folder: Logical(s.Base),
		Visits: make([]ReportVisit, len(s.Visits)), Other: reportFiles(s.Loose)}
	if id != nil {
		q.ID = id(s)
	}
	for k := range s.Visits {
		v := &s.Visits[k]
		q.Visits[k] = ReportVisit{Date: v.Date, Last: v.Last, Year: v.Year, Season: v.Season, Topics: v.Topics().Names(), Photos: reportFiles(v.Photos),
			Notes: reportFiles(v.Notes), Shared: reportFiles(v.Shared), Other: reportFiles(v.Others)}
	}
	return q
}

func reportFiles(files Files) []ReportFile {
	list := make([]ReportFile, 0, files.Len())
	for f := range files.All() {
		list = append(list, f.report())
	}
	return list
}

func (f *File) report() ReportFile {
	r := ReportFile{Path: Logical(f.Path), Bytes: f.Size}
	if f.Kind != manifest.KindPhoto {
		return r
	}
	r.View, r.Taken, r.Camera, r.Orientation, r.Width, r.Height = f.View, f.Taken, f.Camera, int(f.Turn), f.Width, f.Height
	if f.At != nil {
		r.Latitude, r.Longitude, r.Error = &f.At.Latitude, &f.At.Longitude, f.At.Error
	}
	return r
}

// Topics are what the text notes of a visit tell of, also those that serve it
// from elsewhere.
func (v *Visit) Topics() (t facts.Topics) {
	for _, list := range []Files{v.Notes, v.Shared} {
		for f := range list.All() {
			t |= f.Topics
		}
	}
	return t
}

func ReportWaits(waits []walk.Waiting) []ReportWait {
	list := make([]ReportWait, len(waits))
	for i, w := range waits {
		list[i] = reportWait(w)
	}
	return list
}

func reportWait(w walk.Waiting) ReportWait { return ReportWait{Logical(w.Path), w.Reason} }

// Logical is a path of the folder as the archive has it; "" stays "".
func Logical(raw string) string {
	if raw == "" {
		return ""
	}
	l, _ := manifest.Logical(raw)
	return l
}
