package config

import (
	"errors"
	"math"
	"net"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/google/uuid"

	"linecamp/manifest"
	"linecamp/manifest/card"
	"linecamp/manifest/dates"
	"linecamp/manifest/geo"
	"linecamp/manifest/layout"
	"linecamp/manifest/tomlline"
)

// mostBytes bounds a config file; a hundred copies with comments are a tenth
// of it.
const mostBytes = 256 << 10

// loaded is an archive with the lines its settings stand on.
type loaded struct {
	Archive
	lines tomlline.Lines
	at    []int // which of the file's copies each of Copies is
}

// parse takes a config file apart. path is where it was read: relative folders
// start from there, and messages name it. The error is an *Error.
func parse(path string, b []byte) (loaded, error) {
	f := &file{path: path}
	tree, err := f.decode(b)
	if err != nil {
		return loaded{}, err
	}
	top := &table{file: f, left: tree}
	a := Archive{
		Name:   f.name(top),
		Title:  top.text("name"),
		Paper:  paper(top),
		Folder: f.folder(top, "folder"),
		Layout: layoutOf(top),
		Dates:  datesOf(top),
		Views:  views(top.table("views")),
		State:  f.folder(top, "state"),
		Units:  units(top),
		File:   path,
	}
	a.Schedule = schedule(top.table("schedule"))
	a.Years = years(top.table("years"))
	a.Page = page(top.table("page"))
	a.Notice = f.notice(top, a.Name)
	for i, t := range top.tables("copy") {
		c := f.copy(t)
		if c.GivenUp != "" {
			a.GivenUp = append(a.GivenUp, c)
			continue
		}
		a.Copies = append(a.Copies, c)
		f.at = append(f.at, i)
	}
	top.rest(nil)
	f.checkCopies(a)
	f.checkPlaces(a)
	if len(f.problems) > 0 {
		return loaded{}, &Error{File: path, Archive: a.Name, Problems: f.problems}
	}
	return loaded{a, f.lines, f.at}, nil
}

func (f *file) decode(b []byte) (map[string]any, error) {
	fail := func(line int, key, text string) error {
		return &Error{File: f.path, Problems: []Problem{{line, key, text}}}
	}
	if len(b) > mostBytes {
		return nil, fail(0, "", "this file is far too large for settings; name the settings file, or the folder of settings files")
	}
	tree, lines, fault := tomlline.Decode(b)
	if fault != nil {
		return nil, fail(fault.Line, fault.Key, fault.Text)
	}
	f.lines = lines
	return tree, nil
}

func (f *file) name(t *table) string {
	name := t.text("archive")
	if name == "" {
		if t.lines["archive"] == 0 {
			t.fault("archive", "the archive has no name; add a line such as archive = \"saltbush-draw\"")
		} else if len(t.problems) == 0 {
			t.fault("archive", "the archive's name is empty; write one such as \"saltbush-draw\"")
		}
		return ""
	}
	if err := manifest.ArchiveName(name); err != nil {
		t.fault("archive", "%v", err)
	}
	return name
}

// folder takes a key that names a folder or file, and makes it absolute.
func (f *file) folder(t *table, key string) string {
	s := t.text(key)
	if s == "" {
		return ""
	}
	if s == "~" || strings.HasPrefix(s, "~/") || strings.HasPrefix(s, `~\`) {
		t.fault(key, "~ is not understood here; write the whole path")
		return ""
	}
	s = filepath.FromSlash(s)
	if !filepath.IsAbs(s) {
		s = filepath.Join(filepath.Dir(f.path), s)
	}
	return filepath.Clean(s)
}

// paper is the size that the office prints on.
func paper(t *table) string {
	switch s := strings.ToLower(t.text("paper")); s {
	case "", PaperLetter, PaperA4:
		return s
	}
	t.fault("paper", "write \"letter\" or \"a4\": the size of paper that the office prints on")
	return ""
}

func layoutOf(t *table) string {
	s := t.text("layout")
	if _, err := layout.New(s, nil, time.Now()); err != nil {
		t.fault("layout", "%v; write for instance \"{pasture}/{site}/{date}\", or take it out to have the common layouts understood", err)
	}
	return s
}

func datesOf(t *table) string {
	s := t.text("dates")
	if s != "" && !slices.Contains(dates.Orders, s) {
		t.fault("dates", "write \"month first\" where 06-07-19 is June 7, \"day first\" where it is 6 July, \"year first\" where it is of 2006, or take it out to let the archive tell")
		return ""
	}
	return s
}

func units(t *table) geo.Units {
	s := t.text("units")
	if s == "" {
		return ""
	}
	u, err := geo.ParseUnits(s)
	if err != nil {
		t.fault("units", "%v, or take it out to go by the time zone", err)
	}
	return u
}

func views(t *table) map[string][]string {
	var all map[string][]string
	owner := map[string]string{}
	for _, view := range sortedKeys(t.left) {
		words := t.words(view)
		if strings.TrimSpace(view) == "" || view == "untold" {
			t.fault(view, "a view cannot be called %q; choose another name", view)
			continue
		}
		for _, w := range words {
			w = strings.ToLower(w)
			if first, ok := owner[w]; ok && first != view {
				t.fault(view, "the word %q already tells the view %q; a word can tell one view only", w, first)
			}
			owner[w] = view
		}
		if all == nil {
			all = map[string][]string{}
		}
		all[view] = words
	}
	return all
}

func schedule(t *table) Schedule {
	line := func(key, otherwise string) string {
		s := t.text(key)
		if s == "" {
			return otherwise
		}
		if _, err := Cron(s); err != nil {
			t.fault(key, "%v", err)
		}
		return s
	}
	s := Schedule{Mirror: line("mirror", DefaultMirror), Verify: line("verify", DefaultVerify), Drill: line("drill", DefaultDrill)}
	t.rest(nil)
	return s
}

func page(t *table) Page {
	p := Page{Listen: t.text("listen")}
	if p.Listen != "" {
		host, port, err := net.SplitHostPort(p.Listen)
		n, perr := strconv.Atoi(port)
		if ip := net.ParseIP(host); err != nil || perr != nil || n < 1 || n > 65535 || host != "localhost" && (ip == nil || !ip.IsLoopback()) {
			t.fault("listen", "the page is served to this computer only; write an address such as \"127.0.0.1:8710\"")
		}
	}
	t.rest(nil)
	return p
}

// mostSeasonDays is half a year: nothing is further out of its season.
const mostSeasonDays = 180

func years(t *table) Years {
	y := Years{
		SeasonDays: int(t.number("season_days", 1, mostSeasonDays, true, "days that a visit may be out of its season")),
	}
	const what = " that a photo may be taken away from its site"
	for _, key := range []string{"meters", "metres"} {
		if m := t.number(key, 1, card.MostMeters, false, "meters"+what); m != 0 {
			y.Meters = m
		}
	}
	if ft := t.number("feet", 3, math.Floor(card.MostMeters/geo.Foot), false, "feet"+what); ft != 0 {
		y.Meters = ft * geo.Foot
	}
	t.rest(nil)
	return y
}

func (f *file) copy(t *table) Copy {
	c := Copy{Name: t.text("name"), Kind: t.text("kind"), Where: t.text("where")}
	if c.Name == "" {
		t.fault("name", "this copy has no name; add a line such as name = \"shelf-drive\"")
	} else if err := CopyName(c.Name); err != nil {
		t.fault("name", "%v", err)
	}
	c.ID = copyID(t)
	if c.GivenUp = t.text("given_up"); c.GivenUp != "" {
		if _, err := time.Parse(time.DateOnly, c.GivenUp); err != nil {
			t.fault("given_up", "this is not a day; write the day on which the copy was given up, as in \"2026-07-02\", or take the line out to use the copy again")
		}
	}
	switch k, is := Kinds[c.Kind]; {
	case is:
		if k.read == nil {
			c.URL = t.text("url")
		} else {
			k.read(f, t, &c)
		}
		t.rest(keysOfOthers(c.Kind))
	case c.Kind == "":
		t.fault("kind", "this copy does not say what it is; add kind = %s", kindNames(" or kind = "))
	default:
		t.fault("kind", "there is no kind of copy %q; write %s", c.Kind, kindNames(" or "))
	}
	return c
}

func copyID(t *table) string {
	s := t.text("id")
	if s == "" {
		t.fault("id", "this copy has no id; `linecamp setup --add-copy` makes a copy's root and writes its id here")
		return ""
	}
	id, err := uuid.Parse(s)
	if err != nil || len(s) != len(id.String()) {
		t.fault("id", "this is not the id of a copy; it stands in the README.txt of the copy's root and looks like 3f6c0d52-8a31-4c1e-9d57-0b6a4f2e7c19")
		return ""
	}
	return id.String()
}

// CopyName accepts what a person can type after --copy and read in a report.
func CopyName(s string) error {
	if len(s) > 64 {
		return errors.New("this name is too long; use at most 64 characters")
	}
	if strings.EqualFold(s, "working") {
		return errors.New("\"working\" stands for your folder in reports; choose another name")
	}
	for i, r := range s {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) && (i == 0 || !strings.ContainsRune("-_. ", r)) {
			return errors.New("a copy's name is made of letters and digits, with -, _, dots or spaces between; choose another")
		}
	}
	return nil
}
