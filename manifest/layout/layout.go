// Package layout tells sites, dates and views from paths, without a look at any disk.
//
// Begin with [New], which makes a [Layout], and [Layout.Understand], which says what
// one path tells by itself. A walk over many files asks [Layout.Folder] once for each
// folder and [Folder.File] for each name in it. What a path cannot say alone, its
// neighbors say: see manifest/tally.
package layout

import (
	"errors"
	"strings"
	"time"

	"linecamp/manifest/dates"
	"linecamp/manifest/names"
)

// ErrPattern marks a layout pattern that cannot be used.
var ErrPattern = errors.New("this layout cannot be used")

// A Layout understands paths: by the common layouts, or by one pattern that a
// person wrote down (see pattern.go). It is safe for use by several goroutines.
//
// The common layouts need no counting of levels. A date or year in the folders
// is the landmark, and a site is told by where it stands to it:
//
//   - The folder above the date is the site, what is above that its pasture:
//     {pasture}/{site}/{date}, {pasture}/{site}/{year}, {site}/{year}, and
//     deeper ones. Below the date, folders only tell views and closer dates.
//   - Where the date is the top folder, the last folder below it is the site:
//     {year}/{pasture}/{site}, {year}/{site}.
//   - Where no folder tells a date but a photo's own name does, its folder is
//     the site: {pasture}/{site}/2019-06-21 landscape.jpg.
//
// A camera's own folders (DCIM, 100ABCDE) are no level. Neither is a folder
// named for a view, below a date or as the last one; a point of the compass
// counts as a view only below a date, since pastures and sites are named so
// too. Where this is not how a ranch does it, the layout option says so.
type Layout struct {
	cal     dates.Calendar
	views   viewer
	pattern *pattern       // nil: the common layouts
	decided *dates.Decided // how dates are read that several readings fit; nil while that is not known
}

// New makes a Layout. An empty pattern stands for the common layouts;
// errors wrap [ErrPattern]. views are words that mean a view beside the usual
// ones. now bounds the years that a number can mean: none is further ahead
// than the next.
func New(pat string, views map[string][]string, now time.Time) (*Layout, error) {
	l := &Layout{cal: dates.Until(now), views: newViewer(views)}
	if pat != "" {
		p, err := compile(pat)
		if err != nil {
			return nil, err
		}
		l.pattern = p
	}
	return l, nil
}

// IsYear reports whether a number can be a year.
func (l *Layout) IsYear(y int) bool { return l.cal.IsYear(y) }

// Decide tells the layout what the archive decided about dates that can be read in
// several ways. Until then their day stays open.
func (l *Layout) Decide(d *dates.Decided) { l.decided = d }

// Place is what one path says by itself.
type Place struct {
	Pasture, Site, Base string // as in Site; empty if Unfiled
	Date                string // a day, "2019-06-21"; "" if the path tells none
	Year                int    // 0 if the path tells none
	To                  int    // last year of a range that begins with Year; 0 if it is no range
	Season              string
	View                string // of a picture and its companions; [Untold] if nothing tells
	// Unfiled: the path alone tells no site. Its neighbors may.
	Unfiled bool
}

// Understand says what path, raw and slash-separated, tells by itself. It
// looks at nothing else: the same path always gives the same Place.
func (l *Layout) Understand(path string) Place {
	f := l.Folder(names.Parent(path))
	s := f.File(names.Base(path))
	p := Place{View: s.View, Date: s.When.Day, Year: s.When.Year, To: s.When.To, Season: s.When.Season}
	if s.At.How == ByNothing && !s.IsFlat {
		p.Unfiled = true
		return p
	}
	p.Pasture, p.Site, p.Base = s.At.Pasture, s.At.Site, s.At.Base
	return p
}

// How says what told a folder's site.
type How int

const (
	ByNothing   How = iota // nothing yet: a dated photo name may
	ByDateBelow            // a date stands below the site's folder, or a pattern fits
	ByDateAbove            // a date is the top folder
)

// A Folder is what the path of a folder says about the files in it. It is
// made once for all of them; its scratch makes it good for one goroutine.
type Folder struct {
	Path    string
	How     How
	Pasture string
	Site    string // with ByNothing: what the site would be if a name were dated
	Base    string
	Root    string // path of the site's folder; unlike Base also where a date stands above it
	When    dates.Date
	Unsure  string // path of the folder whose name dates this one, where that can be read in several ways
	l       *Layout
	view    string
	odd     int         // a year in a folder's name that is no date folder: "Windmill 2019"
	fixed   bool        // a pattern governs: names of files establish no site
	named   bool        // the pattern describes the names of the files in this folder
	words   [2][]string // of the site's name and the pasture's
	scratch []names.Word
}

// HasFileNames reports whether a pattern describes the names of the files in the
// folder, so that each file may be of another site.
func (f *Folder) HasFileNames() bool { return f.named }

// CanBeSite reports whether the folder is a site if its photos are dated, although no
// name dates them.
func (f *Folder) CanBeSite() bool {
	return f.How == ByNothing && !f.fixed && f.Site != "" && f.odd == 0
}

// Folder understands the path of a folder; "" is the working folder.
func (l *Layout) Folder(path string) *Folder {
	f := &Folder{l: l, Path: path}
	if path == "" && l.pattern != nil {
		l.byPattern(f, nil)
	}
	if path != "" {
		levels := strings.Split(path, "/")
		if l.pattern != nil {
			l.byPattern(f, levels)
		} else {
			l.byLandmark(f, levels)
		}
	}
	if f.Site == "" && f.How != ByNothing {
		// Only a path that no file system has, as "/2019/a", comes here dated.
		f.How, f.Pasture, f.Base, f.Root = ByNothing, "", "", ""
	}
	if f.When.IsUnsure() {
		f.Unsure = l.unsureAt(path)
		f.When = l.decided.Reading(f.When, f.Unsure, dates.Site{Pasture: f.Pasture, Name: f.Site})
	}
	f.words[0] = texts(names.Split(f.Site))
	f.words[1] = texts(names.Split(names.Base(f.Pasture)))
	return f
}

// unsureAt is the deepest folder of a path whose name can be read as several days.
func (l *Layout) unsureAt(path string) string {
	for ; path != ""; path = names.Parent(path) {
		if d := l.cal.Folder(names.Base(path)); d.IsUnsure() {
			return path
		}
	}
	return ""
}

func texts(w []names.Word) []string {
	t := make([]string, len(w))
	for i := range w {
		t[i] = w[i].Text
	}
	return t
}

// byLandmark finds the date in the folders and tells the site from it.
func (l *Layout) byLandmark(f *Folder, levels []string) {
	n := withoutCamera(levels)
	dates := make([]dates.Date, n)
	mark := -1
	for i := range n {
		dates[i] = l.cal.Folder(levels[i])
		d := &dates[i]
		if !d.IsTold() {
			continue
		}
		f.odd = d.Year
		// A year with further words, "2015 burn", may also be a name: it is
		// the landmark only if no plain date of another year comes below it.
		switch plain := d.Pure || d.First && (d.Day != "" || d.IsUnsure()); {
		case plain && (mark < 0 || !dates[mark].Pure && dates[mark].Day == "" && !dates[mark].Has(*d)):
			mark = i
		case d.First && mark < 0:
			mark = i
		}
	}
	switch {
	case mark < 0:
		f.place(levels, 0, l.withoutView(levels, n, f, false))
	case mark == 0:
		l.underDate(f, levels[:n], dates)
	default:
		f.How = ByDateBelow
		f.place(levels, 0, mark)
		f.When = dates[mark]
		l.tail(f, levels[mark+1:n], dates[mark+1:])
	}
}

// underDate reads {year}/{pasture}/{site}: the date is the top folder.
func (l *Layout) underDate(f *Folder, levels []string, dates []dates.Date) {
	f.How, f.When = ByDateAbove, dates[0]
	i := 1
	for i < len(levels) {
		d, ok := l.closer(f.When, levels[i], dates[i])
		if !ok {
			break
		}
		f.When = d
		i++
	}
	end := len(levels)
	for k := i + 1; k < len(levels); k++ {
		if dates[k].IsTold() && (dates[k].Pure || dates[k].First) {
			if d, ok := l.closer(f.When, levels[k], dates[k]); ok {
				f.When, end = d, k
				l.tail(f, levels[k+1:], dates[k+1:])
				break
			}
		}
	}
	if end == len(levels) {
		if n := l.withoutView(levels[i:], len(levels)-i, f, true); n > 0 {
			end = i + n
		}
	}
	if end == i {
		f.How, f.Site = ByNothing, ""
		return
	}
	f.place(levels, i, end)
	f.Base = ""
}

// place names the site levels[end-1] in the pasture levels[from:end-1].
func (f *Folder) place(levels []string, from, end int) {
	if end <= from {
		return
	}
	f.Site = levels[end-1]
	f.Pasture = strings.Join(levels[from:end-1], "/")
	f.Root = strings.Join(levels[:end], "/")
	f.Base = f.Root
}

// tail reads the folders below a date: closer dates, and a view.
func (l *Layout) tail(f *Folder, levels []string, dates []dates.Date) {
	for i, name := range levels {
		if d, ok := l.closer(f.When, name, dates[i]); ok {
			f.When = d
			continue
		}
		if v, _ := l.views.folder(name); v != "" {
			f.view = v
		}
	}
}

// closer reports whether a folder below one dated under dates it more closely:
// 2019/06/21, 2019/2019-06-21, 2001-2015/2003. A date that contradicts the one
// above is no date.
func (l *Layout) closer(under dates.Date, name string, own dates.Date) (dates.Date, bool) {
	if d, ok := l.cal.Closer(name, under); ok {
		return d, true
	}
	if !own.IsTold() || under.Day != "" {
		return under, false
	}
	if own.IsUnsure() {
		own = own.Among(under)
	}
	if !own.IsTold() || !under.Has(own) {
		return under, false
	}
	if own.Season == "" {
		own.Season = under.Season
	}
	return own, true
}

// withoutView returns how many of the first n levels are left when those at
// the end that only tell a view are taken away; one is always left.
func (l *Layout) withoutView(levels []string, n int, f *Folder, compass bool) int {
	for n > 1 {
		v, point := l.views.folder(levels[n-1])
		if v == "" || point && !compass {
			break
		}
		if f.view == "" {
			f.view = v
		}
		n--
	}
	return n
}

// withoutCamera returns how many levels are left without the folders that a
// camera makes: DCIM, and in it or elsewhere directories of three digits and
// five characters (DCF, CIPA DC-009) that hold the files themselves.
func withoutCamera(levels []string) int {
	n := len(levels)
	if n > 0 && cameraFolder(levels[n-1]) && (n > 1 || levels[0] == "DCIM") {
		n--
	}
	if n > 0 && strings.EqualFold(levels[n-1], "dcim") {
		n--
	}
	return n
}

func cameraFolder(s string) bool {
	if len(s) != 8 || !names.Digits(s[:3]) || s[0] == '0' || names.Digits(s) && (s[:2] != "10" || october(s)) {
		return false
	}
	for i := 3; i < 8; i++ {
		if c := s[i]; (c < '0' || c > '9') && (c < 'A' || c > 'Z') && c != '_' {
			return false
		}
	}
	return true
}

// october reports whether digits that begin as a camera's folder do are a day in
// October, as 10012019, or the 10th of a month.
func october(s string) bool {
	y, a, b := dates.Number(s[4:]), dates.Number(s[:2]), dates.Number(s[2:4])
	return y >= dates.FirstYear && y < 2100 && (dates.IsDay(y, a, b) || dates.IsDay(y, b, a))
}

// Said is what one name adds to its folder.
type Said struct {
	At     *Folder
	Form   Form
	IsFlat bool // the name's date makes the folder a site
	When   *dates.Date
	View   string
}

// File understands a file name in the folder.
func (f *Folder) File(name string) Said {
	s := Said{At: f, Form: FormOf(name), When: &f.When}
	st := names.Stem(name)
	if s.Form == Other && strings.EqualFold(f.Path, CardFolder) && names.Extension(name) == "toml" {
		s.Form = Card
	}
	if f.named {
		if g := f.byName(st); g != nil {
			s.At, s.When, s.View = g, &g.When, g.view
			if s.View == "" {
				s.View = g.viewOf(st)
			}
			return s
		}
	}
	if f.When.Day == "" {
		if d := f.l.cal.File(st); d.IsTold() {
			f.dated(&s, f.l.decided.Reading(d, "", dates.Site{Pasture: f.Pasture, Name: f.Site}))
		}
	}
	if s.Form.IsPicture() || s.Form == Sidecar || s.Form == Movie {
		s.View = f.viewOf(st)
	}
	return s
}

// dated adds the date in a file's name. A folder's date outranks it.
func (f *Folder) dated(s *Said, d dates.Date) {
	if f.When.IsTold() {
		if d.IsUnsure() {
			d = d.Among(f.When)
		}
		if f.When.Has(d) && (d.Day != "" || f.When.To != 0) {
			if d.Season == "" {
				d.Season = f.When.Season
			}
			s.When = &d
		}
		return
	}
	s.When = &d
	s.IsFlat = f.How == ByNothing && !f.fixed && f.Site != "" && s.Form.IsPicture() && d.To == 0 && (d.Year != f.odd || d.Year == 0)
}

// viewOf finds a view in a file's name, else in its folder's.
func (f *Folder) viewOf(stem string) string {
	f.scratch = names.SplitInto(f.scratch[:0], stem)
	v := f.l.views.find(f.scratch)
	if v != "" && len(f.words[0]) > 0 {
		// Perhaps it was only the site's name.
		if rest, ok := without(f.scratch, f.words[0]); ok {
			rest, _ = without(rest, f.words[1])
			v = f.l.views.find(rest)
		}
	}
	switch {
	case v != "":
		return v
	case f.view != "":
		return f.view
	}
	return Untold
}
