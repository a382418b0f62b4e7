package layout

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"linecamp/manifest/dates"
	"linecamp/manifest/names"
	"linecamp/manifest/store/fault"
)

// A pattern is a layout that a person wrote down, such as
// "{pasture}/{site}/{date}". It describes folders from the top, one element
// each; files may lie in any folder below. In it stand
//
//	{pasture}   the pasture's name
//	{site}      the site's name; every pattern has it
//	{date}      a date as in the common layouts, to the day or the year
//	{year}      a year of four digits
//	{season}    spring, summer, fall, autumn, winter, or a month's name
//	{view}      a view; a word that is none of the known ones is itself the view
//	{*}         anything, which tells nothing
//
// and any other text for itself. An element may hold several, with text
// between them: "{site} {year}". A last element that ends in ".*" describes
// the files' names instead of a folder: "{pasture}/{site} {date} {view}.*".
//
// A folder that fits the pattern as far as the site, but not to its end, is
// the site's own if others make that a site. What does not fit is unfiled.
type pattern struct {
	levels []element
	file   *element // nil unless the last element describes file names
	site   int      // index of the element that holds the site
	whole  bool     // that is a folder and the site's name alone, with no date above
}

// An element matches one name.
type element struct {
	text  string
	re    *regexp.Regexp
	parts []string // placeholders, by capture group
}

const anyDate = `\d{4}[-_.]\d{1,2}[-_.]\d{1,2}|\d{8}|\d{4}-\d{2}|\d{4}|(?i:spring|summer|fall|autumn|winter)[ _-]\d{4}`

var placeholders = map[string]string{
	"pasture": `(.+?)`, "site": `(.+?)`, "view": `(.+?)`, "*": `.*?`,
	"date": `(` + anyDate + `)`, "year": `(\d{4})`, "season": `([A-Za-z]+)`,
}

// compile reads a pattern.
func compile(s string) (*pattern, error) {
	fail := func(format string, a ...any) error {
		return fault.Say(ErrPattern, "layout %q: %s", s, fmt.Sprintf(format, a...))
	}
	p := &pattern{site: -1}
	seen := map[string]bool{}
	dated := false // an element so far holds a date
	texts := strings.Split(s, "/")
	for i, t := range texts {
		if t == "" || t == "." || t == ".." {
			return nil, fail("element %d is empty; write folders separated by single slashes, with none at the ends", i+1)
		}
		names := strings.HasSuffix(t, ".*")
		if names && i < len(texts)-1 {
			return nil, fail("%q describes file names, which only the last element can", t)
		}
		e, err := newElement(strings.TrimSuffix(t, ".*"), seen)
		if err != nil {
			return nil, fail("%v", err)
		}
		if names {
			p.file = &e
		} else {
			p.levels = append(p.levels, e)
		}
		if slices.Contains(e.parts, "site") {
			p.site, p.whole = i, t == "{site}" && !dated
		}
		dated = dated || slices.Contains(e.parts, "date") || slices.Contains(e.parts, "year")
	}
	if p.site < 0 {
		return nil, fail("it has no {site}")
	}
	return p, nil
}

// newElement compiles one element. seen are the placeholders used so far.
func newElement(text string, seen map[string]bool) (element, error) {
	e := text
	var re strings.Builder
	var parts []string
	re.WriteString(`(?s)^`)
	last := false // the text so far ends with a placeholder
	for e != "" {
		i := strings.IndexAny(e, "{}")
		if i < 0 {
			re.WriteString(regexp.QuoteMeta(e))
			break
		}
		if i > 0 {
			re.WriteString(regexp.QuoteMeta(e[:i]))
			last = false
		}
		end := strings.IndexByte(e, '}')
		if e[i] == '}' || end < 0 || strings.IndexByte(e[i+1:end], '{') >= 0 {
			return element{}, fmt.Errorf("a brace in %q has no partner", e)
		}
		name := e[i+1 : end]
		sub, ok := placeholders[name]
		switch {
		case !ok:
			return element{}, fmt.Errorf("{%s} is none of {pasture}, {site}, {date}, {year}, {season}, {view}, {*}", name)
		case last:
			return element{}, fmt.Errorf("{%s} needs some text between it and what stands before it", name)
		case name != "*" && seen[name]:
			return element{}, fmt.Errorf("{%s} is there twice", name)
		}
		re.WriteString(sub)
		if name != "*" {
			seen[name] = true
			parts = append(parts, name)
		}
		last = true
		e = e[end+1:]
	}
	re.WriteString(`$`)
	c, err := regexp.Compile(re.String())
	return element{text, c, parts}, err
}

// byPattern understands a folder by the pattern.
func (l *Layout) byPattern(f *Folder, levels []string) {
	p := l.pattern
	f.fixed = true
	n := 0
	for n < len(levels) && n < len(p.levels) && l.fits(f, &p.levels[n], levels[n]) {
		n++
	}
	whole := n == len(p.levels)
	if n <= p.site && !(whole && p.site == n) {
		*f = Folder{l: l, Path: f.Path, fixed: true}
		return
	}
	if p.site < len(p.levels) {
		f.Root = strings.Join(levels[:p.site+1], "/")
		if p.whole {
			f.Base = f.Root
		}
	}
	if !whole {
		return // the site's own, if it is one
	}
	rest := levels[n:max(n, withoutCamera(levels))]
	if p.file != nil {
		f.named = len(rest) == 0
		return
	}
	f.How = ByDateBelow
	dates := make([]dates.Date, len(rest))
	for i := range rest {
		dates[i] = l.cal.Folder(rest[i])
	}
	l.tail(f, rest, dates)
}

// fits matches a name with an element and puts what it tells into f.
func (l *Layout) fits(f *Folder, e *element, name string) bool {
	if e.text == "{date}" {
		// A date folder may go on: "2019-06-21 north side".
		d := l.cal.Folder(name)
		if d.First || d.Pure {
			f.When = d
		}
		return d.First || d.Pure
	}
	m := e.re.FindStringSubmatch(name)
	if m == nil {
		return false
	}
	before := *f
	if !l.take(f, e.parts, m[1:]) {
		*f = before
		return false
	}
	return true
}

// byName understands a file by the pattern's last element, which describes
// file names. It returns nil where the name does not fit.
func (f *Folder) byName(stem string) *Folder {
	g := &Folder{l: f.l, Path: f.Path, How: ByDateBelow, Pasture: f.Pasture, Site: f.Site, Base: f.Base, Root: f.Root,
		When: f.When, view: f.view, fixed: true, words: f.words}
	p := f.l.pattern
	if !f.l.fits(g, p.file, stem) {
		return nil
	}
	if p.site == len(p.levels) {
		g.Root = f.Path + "/\x00" + g.Site // no folder's path: the site is in names only
	}
	return g
}

// take puts what an element matched into f. It reports false where a part is
// not what its placeholder says, such as a date that no dates.Calendar has.
func (l *Layout) take(f *Folder, parts, values []string) bool {
	for i, name := range parts {
		v := values[i]
		switch name {
		case "pasture":
			f.Pasture = v
		case "site":
			f.Site = v
		case "view":
			f.view = l.viewNamed(v)
		case "year":
			if !l.cal.IsYear(dates.Number(v)) {
				return false
			}
			f.When.Year = dates.Number(v)
		case "date":
			d := l.cal.Folder(v)
			if !d.IsTold() {
				return false
			}
			if d.Season == "" {
				d.Season = f.When.Season
			}
			f.When = d
		case "season":
			s := dates.Season(v)
			if s == "" {
				return false
			}
			f.When.Season = s
		}
	}
	return true
}

func (l *Layout) viewNamed(v string) string {
	if known := l.views.find(names.Split(v)); known != "" {
		return known
	}
	return strings.ToLower(v)
}
