package page

import (
	"fmt"
	"net/http"
	"path"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/words"
	"linecamp/verify"
	"linecamp/verify/gather"
)

// siteView is one site: its pictures along the years, and all that is known of it.
type siteView struct {
	frame
	Site, Pasture, Name, Key string
	Pair                     *pair // nil where there is no picture to look at
	Views                    []viewLink
	Strip                    []thumb
	Unshown                  []paper // pictures that cannot be shown here
	Years                    []yearRow
	Visits                   []visitRow
	Other                    []paper
	Findings                 []findingRow
	Decisions                []decisionRow
	Formers                  []string
	Asked                    string
	History, Restore         string // command lines
}

type viewLink struct {
	View, Href string
	Now        bool
	Many       int
}

// picture is one photo of the strip.
type picture struct {
	Key, Alt, Visit, Year string
	Kept                  bool // no longer in the working folder; shown from a copy
	Left, Right           bool // it is one of the two large ones
}

// paper is a file that can be read or saved.
type paper struct {
	Key, Name, Path, Size string
	Read                  bool // it is text
	Gone                  string
}

type yearRow struct {
	verify.Year
	Lacking string
	Explain bool   // a reason can be put on file
	Restore string // the command line that brings it back
}

type visitRow struct {
	Visit string
	Notes []paper
}

type decisionRow struct{ What, Who, When, Why string }

func (s *Server) site(w http.ResponseWriter, r *http.Request, b *book) error {
	read, err := b.read(r.Context(), false)
	if err != nil {
		return err
	}
	x := read.bySite[r.PathValue("site")]
	if x == nil {
		return errNothing
	}
	v := siteView{frame: s.frame(b, "years", x.label()), Site: x.label(), Pasture: verify.Shown(x.Pasture), Name: x.name(), Key: x.key, Asked: x.asked()}
	v.History = b.Line.Run("history", x.asked())
	v.Restore = b.Line.Run("restore", x.asked(), "--into", "FOLDER")
	v.addPictures(x, r.URL.Query())
	v.addPapers(x)
	for i := len(x.years) - 1; i >= 0; i-- {
		v.Years = append(v.Years, yearOf(x.years[i], x, b))
	}
	for _, f := range x.findings {
		v.Findings = append(v.Findings, findingOf(f, b.Line))
	}
	for _, d := range x.Decisions {
		v.Decisions = append(v.Decisions, decisionOf(d))
	}
	for _, f := range x.Formers {
		v.Formers = append(v.Formers, verify.Shown(f.Label()))
	}
	return show(w, "site", http.StatusOK, v)
}

func yearOf(y verify.Year, x *site, b *book) yearRow {
	row := yearRow{Year: y, Explain: y.State == verify.Short || y.State == verify.Skipped}
	var lacks []string
	for _, l := range y.Lacks {
		lacks = append(lacks, verify.Shown(l))
	}
	row.Lacking = strings.Join(lacks, ", ")
	if len(lacks) > 0 && y.State != verify.Lost && y.State != verify.Recoverable { // there they are files
		row.Lacking = "lacks " + row.Lacking
	}
	if y.State == verify.Recoverable {
		row.Restore = b.Line.Run("restore", x.asked(), "--year", fmt.Sprint(y.Year), "--into", b.folder())
	}
	return row
}

// folder is the working folder, for a command line.
func (b *book) folder() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.open != nil && b.open.record.Folder != "" {
		return b.open.record.Folder
	}
	return "FOLDER"
}

func decisionOf(d manifest.Decision) decisionRow {
	row := decisionRow{Who: verify.Shown(d.Who), When: d.When.Local().Format("Jan 2, 2006"), Why: verify.Shown(d.Why)}
	about := strings.Join(d.Years, ", ")
	switch {
	case d.What == manifest.Joined:
		row.What = "The same stake as " + d.Path
	case d.What == manifest.Apart:
		row.What = "Another stake than " + d.Path
	case d.Path != "":
		row.What = "Explained: " + d.Path
	default:
		row.What = strings.ToUpper(d.What[:min(1, len(d.What))]) + d.What[min(1, len(d.What)):]
		if about != "" {
			row.What += ": " + about
		}
		if d.View != "" {
			row.What += ", " + d.View
		}
		if d.Season != "" {
			row.What += ", the visit of " + d.Season
		}
	}
	row.What = verify.Shown(row.What)
	return row
}

// addPapers lists the notes by visit, and the other files.
func (v *siteView) addPapers(x *site) {
	for _, f := range x.files {
		switch {
		case f.photo():
		case f.Kind == manifest.KindNote && f.Visit != "":
			if n := len(v.Visits); n == 0 || v.Visits[n-1].Visit != f.Visit {
				v.Visits = append(v.Visits, visitRow{Visit: f.Visit})
			}
			last := &v.Visits[len(v.Visits)-1]
			last.Notes = append(last.Notes, paperOf(f))
		default:
			v.Other = append(v.Other, paperOf(f))
		}
	}
	for i, j := 0, len(v.Visits)-1; i < j; i, j = i+1, j-1 { // newest first
		v.Visits[i], v.Visits[j] = v.Visits[j], v.Visits[i]
	}
}

func paperOf(f *file) paper {
	p := paper{Key: f.key, Path: verify.Shown(f.Path), Name: verify.Shown(path.Base(f.Path)), Read: isText(f.Path), Gone: f.gone()}
	if f.File != nil {
		p.Size = words.Size(f.File.Size)
	}
	return p
}

// gone says that a file is not in the working folder, "" where it is.
func (f *file) gone() string {
	switch {
	case f.Where == gather.Nowhere:
		return "no good bytes are left"
	case f.File == nil && f.Where == gather.OnCopy:
		return "on a copy, not in the folder"
	case f.File == nil:
		return "not read yet"
	}
	return ""
}

// isText reports whether a note is shown as it is.
func isText(p string) bool {
	switch strings.ToLower(path.Ext(p)) {
	case ".txt", ".md", ".csv", ".toml", ".gpx", ".log", ".text":
		return true
	}
	return false
}

// dated writes a visit as people do: "June 21, 2019", or the bare year.
func dated(visit string) string {
	if t, err := time.Parse(time.DateOnly, visit); err == nil {
		return t.Format("January 2, 2006")
	}
	return verify.Shown(visit)
}
