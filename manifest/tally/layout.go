package tally

import (
	"strings"
	"time"
)

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
	cal     calendar
	views   viewer
	pattern *pattern // nil: the common layouts
	decided *decided // how dates are read that several readings fit; nil while that is not known
}

// NewLayout makes a Layout. An empty pattern stands for the common layouts;
// errors wrap [ErrLayout]. views are words that mean a view beside the usual
// ones. now bounds the years that a number can mean: none is further ahead
// than the next.
func NewLayout(pat string, views map[string][]string, now time.Time) (*Layout, error) {
	l := &Layout{cal: calendar{lastYear: now.Year() + 1}, views: newViewer(views)}
	if pat != "" {
		p, err := compile(pat)
		if err != nil {
			return nil, err
		}
		l.pattern = p
	}
	return l, nil
}

// Place is what one path says by itself.
type Place struct {
	Pasture, Site, Base string // as in Site; empty if Unfiled
	Date                string // a day, "2019-06-21"; "" if the path tells none
	Year                int    // 0 if the path tells none
	To                  int    // last year of a range that begins with Year; 0 if it is no range
	Season              string
	View                string // "untold" if nothing tells
	// Unfiled: the path alone tells no site. Its neighbours may.
	Unfiled bool
}

// Understand says what path, raw and slash-separated, tells by itself. It
// looks at nothing else: the same path always gives the same Place.
func (l *Layout) Understand(path string) Place {
	dir, name := "", path
	if i := strings.LastIndexByte(path, '/'); i >= 0 {
		dir, name = path[:i], path[i+1:]
	}
	f := l.folder(dir)
	s := f.file(name)
	p := Place{View: s.view, Date: s.when.day, Year: s.when.year, To: s.when.to, Season: s.when.season}
	if s.at.how == byNothing && !s.flat {
		p.Unfiled = true
		return p
	}
	p.Pasture, p.Site, p.Base = s.at.pasture, s.at.site, s.at.base
	return p
}

// how says what told a folder's site.
type how int

const (
	byNothing   how = iota // nothing yet: a dated photo name may
	byDateBelow            // a date stands below the site's folder, or a pattern fits
	byDateAbove            // a date is the top folder
)

// A folder is what the path of a folder says about the files in it. It is
// made once for all of them; its scratch makes it good for one goroutine.
type folder struct {
	l       *Layout
	path    string
	how     how
	pasture string
	site    string // with byNothing: what the site would be if a name were dated
	base    string
	root    string // path of the site's folder; unlike base also where a date stands above it
	when    dating
	unsure  string // path of the folder whose name dates this one, where that can be read in several ways
	view    string
	odd     int  // a year in a folder's name that is no date folder: "Windmill 2019"
	fixed   bool // a pattern governs: names of files establish no site
	named   bool // the pattern describes the names of the files in this folder
	names   [2][]string
	scratch []word
	home    *home // where settling put the files of this folder, once settled
	settled bool
}

// folder understands the path of a folder; "" is the working folder.
func (l *Layout) folder(path string) *folder {
	f := &folder{l: l, path: path}
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
	if f.site == "" && f.how != byNothing {
		// Only a path that no file system has, as "/2019/a", comes here dated.
		f.how, f.pasture, f.base, f.root = byNothing, "", "", ""
	}
	if f.when.unsure() {
		f.unsure = l.unsureAt(path)
		f.when = l.decided.settled(f.when, f.unsure, siteName{f.pasture, f.site})
	}
	f.names[0] = texts(split(f.site))
	f.names[1] = texts(split(f.pasture[strings.LastIndexByte(f.pasture, '/')+1:]))
	return f
}

// unsureAt is the deepest folder of a path whose name can be read as several days.
func (l *Layout) unsureAt(path string) string {
	for ; path != ""; path = parent(path) {
		if d := l.cal.read(path[nameAt(path):], false); d.unsure() {
			return path
		}
	}
	return ""
}

func texts(w []word) []string {
	t := make([]string, len(w))
	for i := range w {
		t[i] = w[i].text
	}
	return t
}

// byLandmark finds the date in the folders and tells the site from it.
func (l *Layout) byLandmark(f *folder, levels []string) {
	n := withoutCamera(levels)
	dates := make([]dating, n)
	mark := -1
	for i := range n {
		dates[i] = l.cal.read(levels[i], false)
		d := &dates[i]
		if !d.tells() {
			continue
		}
		f.odd = d.year
		// A year with further words, "2015 burn", may also be a name: it is
		// the landmark only if no plain date of another year comes below it.
		switch plain := d.pure || d.first && (d.day != "" || d.unsure()); {
		case plain && (mark < 0 || !dates[mark].pure && dates[mark].day == "" && !dates[mark].holds(*d)):
			mark = i
		case d.first && mark < 0:
			mark = i
		}
	}
	switch {
	case mark < 0:
		f.place(levels, 0, l.withoutView(levels, n, f, false))
	case mark == 0:
		l.underDate(f, levels[:n], dates)
	default:
		f.how = byDateBelow
		f.place(levels, 0, mark)
		f.when = dates[mark]
		l.tail(f, levels[mark+1:n], dates[mark+1:])
	}
}

// underDate reads {year}/{pasture}/{site}: the date is the top folder.
func (l *Layout) underDate(f *folder, levels []string, dates []dating) {
	f.how, f.when = byDateAbove, dates[0]
	i := 1
	for i < len(levels) {
		d, ok := l.closer(f.when, levels[i], dates[i])
		if !ok {
			break
		}
		f.when = d
		i++
	}
	end := len(levels)
	for k := i + 1; k < len(levels); k++ {
		if dates[k].tells() && (dates[k].pure || dates[k].first) {
			if d, ok := l.closer(f.when, levels[k], dates[k]); ok {
				f.when, end = d, k
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
		f.how, f.site = byNothing, ""
		return
	}
	f.place(levels, i, end)
	f.base = ""
}

// place names the site levels[end-1] in the pasture levels[from:end-1].
func (f *folder) place(levels []string, from, end int) {
	if end <= from {
		return
	}
	f.site = levels[end-1]
	f.pasture = strings.Join(levels[from:end-1], "/")
	f.root = strings.Join(levels[:end], "/")
	f.base = f.root
}

// tail reads the folders below a date: closer dates, and a view.
func (l *Layout) tail(f *folder, levels []string, dates []dating) {
	for i, name := range levels {
		if d, ok := l.closer(f.when, name, dates[i]); ok {
			f.when = d
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
func (l *Layout) closer(under dating, name string, own dating) (dating, bool) {
	if d, ok := l.cal.below(name, under); ok {
		return d, true
	}
	if !own.tells() || under.day != "" {
		return under, false
	}
	if own.unsure() {
		own = own.among(under)
	}
	if !own.tells() || !under.holds(own) {
		return under, false
	}
	if own.season == "" {
		own.season = under.season
	}
	return own, true
}

// holds reports whether a date lies within d.
func (d dating) holds(o dating) bool {
	if d.unsure() {
		for _, w := range d.ways() {
			if w == o.day || o.day == "" && o.to == 0 && o.year != 0 && number(w[:4]) == o.year {
				return true
			}
		}
		return false
	}
	if d.to != 0 {
		return o.to == 0 && o.year >= d.year && o.year <= d.to
	}
	if o.year != d.year || o.to != 0 {
		return false
	}
	if m := months[d.season]; m != 0 && o.day != "" {
		return number(o.day[5:7]) == m
	}
	return true
}

// withoutView returns how many of the first n levels are left when those at
// the end that only tell a view are taken away; one is always left.
func (l *Layout) withoutView(levels []string, n int, f *folder, compass bool) int {
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
	if len(s) != 8 || !allDigits(s[:3]) || s[0] == '0' || allDigits(s) && (s[:2] != "10" || october(s)) {
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
	y, a, b := number(s[4:]), number(s[:2]), number(s[2:4])
	return y >= firstYear && y < 2100 && (validDay(y, a, b) || validDay(y, b, a))
}

// said is what one name adds to its folder.
type said struct {
	at   *folder
	form form
	flat bool // the name's date makes the folder a site
	when *dating
	view string
}

// file understands a file name in the folder.
func (f *folder) file(name string) said {
	s := said{at: f, form: formOf(name), when: &f.when}
	st := stem(name)
	if s.form == formOther && strings.EqualFold(f.path, CardFolder) && extension(name) == "toml" {
		s.form = formCard
	}
	if f.named {
		if g := f.byName(st); g != nil {
			s.at, s.when, s.view = g, &g.when, g.view
			if s.view == "" {
				s.view = g.viewOf(st)
			}
			return s
		}
	}
	if f.when.day == "" {
		if d := f.l.cal.read(st, true); d.tells() {
			f.dated(&s, f.l.decided.settled(d, "", siteName{f.pasture, f.site}))
		}
	}
	if s.form.picture() || s.form == formSidecar || s.form == formMovie {
		s.view = f.viewOf(st)
	}
	return s
}

// dated adds the date in a file's name. A folder's date outranks it.
func (f *folder) dated(s *said, d dating) {
	if f.when.tells() {
		if d.unsure() {
			d = d.among(f.when)
		}
		if f.when.holds(d) && (d.day != "" || f.when.to != 0) {
			if d.season == "" {
				d.season = f.when.season
			}
			s.when = &d
		}
		return
	}
	s.when = &d
	s.flat = f.how == byNothing && !f.fixed && f.site != "" && s.form.picture() && d.to == 0 && (d.year != f.odd || d.year == 0)
}

// viewOf finds a view in a file's name, else in its folder's.
func (f *folder) viewOf(stem string) string {
	f.scratch = splitInto(f.scratch[:0], stem)
	v := f.l.views.find(f.scratch)
	if v != "" && len(f.names[0]) > 0 {
		// Perhaps it was only the site's name.
		if rest, ok := without(f.scratch, f.names[0]); ok {
			rest, _ = without(rest, f.names[1])
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
