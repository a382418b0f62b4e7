package config

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"net"
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

// file is a settings file while it is taken apart, and table one table of it.
type (
	file struct {
		*tomlline.File
		at []int // which of the file's copies each copy in use is
	}
	table = tomlline.Table
)

// used is the table of a copy in use, by its place among those.
func (f *file) used(i int) *table {
	return &table{File: f.File, Key: fmt.Sprintf("copy[%d]", f.at[i])}
}

// loaded is an archive with the lines its settings stand on.
type loaded struct {
	Archive
	lines tomlline.Lines
	at    []int // which of the file's copies each of Copies is
}

// parse takes a config file apart. path is where it was read: relative folders
// start from there, and messages name it. The error is an *Error.
func parse(path string, b []byte) (loaded, error) {
	outer, top, err := Decode(path, b)
	if err != nil {
		return loaded{}, err
	}
	f := &file{File: outer}
	a := Archive{
		Name:   f.name(top),
		Title:  top.Text("name"),
		Paper:  paper(top),
		Folder: top.Folder("folder"),
		Layout: layoutOf(top),
		Dates:  datesOf(top),
		Views:  views(top.Sub("views")),
		State:  top.Folder("state"),
		Units:  units(top),
		File:   path,
	}
	a.Schedule = schedule(top.Sub("schedule"))
	a.Years = years(top.Sub("years"))
	a.Page = page(top.Sub("page"))
	a.Notice = f.notice(top, a.Name)
	for i, t := range top.Subs("copy") {
		c := f.copy(t)
		if c.GivenUp != "" {
			a.GivenUp = append(a.GivenUp, c)
			continue
		}
		a.Copies = append(a.Copies, c)
		f.at = append(f.at, i)
	}
	top.Rest(nil)
	f.checkCopies(a)
	f.checkPlaces(a)
	if len(f.Faults) > 0 {
		return loaded{}, &Error{File: path, Archive: a.Name, Problems: f.Faults}
	}
	return loaded{a, f.Lines, f.at}, nil
}

func (f *file) name(t *table) string {
	name := t.Text("archive")
	if name == "" {
		if t.Lines["archive"] == 0 {
			t.Fault("archive", "the archive has no name; add a line such as archive = \"saltbush-draw\"")
		} else if len(t.Faults) == 0 {
			t.Fault("archive", "the archive's name is empty; write one such as \"saltbush-draw\"")
		}
		return ""
	}
	if err := manifest.ArchiveName(name); err != nil {
		t.Fault("archive", "%v", err)
	}
	return name
}

// paper is the size that the office prints on.
func paper(t *table) string {
	switch s := strings.ToLower(t.Text("paper")); s {
	case "", PaperLetter, PaperA4:
		return s
	}
	t.Fault("paper", "write \"letter\" or \"a4\": the size of paper that the office prints on")
	return ""
}

func layoutOf(t *table) string {
	s := t.Text("layout")
	if _, err := layout.New(s, nil, time.Now()); err != nil {
		t.Fault("layout", "%v; write for instance \"{pasture}/{site}/{date}\", or take it out to have the common layouts understood", err)
	}
	return s
}

func datesOf(t *table) string {
	s := t.Text("dates")
	if s != "" && !slices.Contains(dates.Orders, s) {
		t.Fault("dates", "write \"month first\" where 06-07-19 is June 7, \"day first\" where it is 6 July, \"year first\" where it is of 2006, or take it out to let the archive tell")
		return ""
	}
	return s
}

func units(t *table) geo.Units {
	s := t.Text("units")
	if s == "" {
		return ""
	}
	u, err := geo.ParseUnits(s)
	if err != nil {
		t.Fault("units", "%v, or take it out to go by the time zone", err)
	}
	return u
}

func views(t *table) map[string][]string {
	var all map[string][]string
	owner := map[string]string{}
	for _, view := range slices.Sorted(maps.Keys(t.Left)) {
		words := t.Words(view)
		if strings.TrimSpace(view) == "" || view == "untold" {
			t.Fault(view, "a view cannot be called %q; choose another name", view)
			continue
		}
		for _, w := range words {
			w = strings.ToLower(w)
			if first, ok := owner[w]; ok && first != view {
				t.Fault(view, "the word %q already tells the view %q; a word can tell one view only", w, first)
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
		s := t.Text(key)
		if s == "" {
			return otherwise
		}
		if _, err := Cron(s); err != nil {
			t.Fault(key, "%v", err)
		}
		return s
	}
	s := Schedule{Mirror: line("mirror", DefaultMirror), Verify: line("verify", DefaultVerify), Drill: line("drill", DefaultDrill)}
	t.Rest(nil)
	return s
}

func page(t *table) Page {
	p := Page{Listen: t.Text("listen")}
	if p.Listen != "" {
		host, port, err := net.SplitHostPort(p.Listen)
		n, perr := strconv.Atoi(port)
		if ip := net.ParseIP(host); err != nil || perr != nil || n < 1 || n > 65535 || host != "localhost" && (ip == nil || !ip.IsLoopback()) {
			t.Fault("listen", "the page is served to this computer only; write an address such as \"127.0.0.1:8710\"")
		}
	}
	t.Rest(nil)
	return p
}

// mostSeasonDays is half a year: nothing is further out of its season.
const mostSeasonDays = 180

func years(t *table) Years {
	y := Years{
		SeasonDays: int(t.Number("season_days", 1, mostSeasonDays, true, "days that a visit may be out of its season")),
	}
	const what = " that a photo may be taken away from its site"
	for _, key := range []string{"meters", "metres"} {
		if m := t.Number(key, 1, card.MostMeters, false, "meters"+what); m != 0 {
			y.Meters = m
		}
	}
	if ft := t.Number("feet", 3, math.Floor(card.MostMeters/geo.Foot), false, "feet"+what); ft != 0 {
		y.Meters = ft * geo.Foot
	}
	t.Rest(nil)
	return y
}

func (f *file) copy(t *table) Copy {
	c := Copy{Name: t.Text("name"), Kind: t.Text("kind"), Where: t.Text("where")}
	if c.Name == "" {
		t.Fault("name", "this copy has no name; add a line such as name = \"shelf-drive\"")
	} else if err := CopyName(c.Name); err != nil {
		t.Fault("name", "%v", err)
	}
	c.ID = copyID(t)
	if c.GivenUp = t.Text("given_up"); c.GivenUp != "" {
		if _, err := time.Parse(time.DateOnly, c.GivenUp); err != nil {
			t.Fault("given_up", "this is not a day; write the day on which the copy was given up, as in \"2026-07-02\", or take the line out to use the copy again")
		}
	}
	switch k, is := Kinds[c.Kind]; {
	case is:
		if k.read == nil {
			c.URL = t.Text("url")
		} else {
			k.read(f, t, &c)
		}
		t.Rest(keysOfOthers(c.Kind))
	case c.Kind == "":
		t.Fault("kind", "this copy does not say what it is; add kind = %s", kindNames(" or kind = "))
	default:
		t.Fault("kind", "there is no kind of copy %q; write %s", c.Kind, kindNames(" or "))
	}
	return c
}

func copyID(t *table) string {
	s := t.Text("id")
	if s == "" {
		t.Fault("id", "this copy has no id; `linecamp setup --add-copy` makes a copy and writes its id here")
		return ""
	}
	id, err := uuid.Parse(s)
	if err != nil || len(s) != len(id.String()) {
		t.Fault("id", "this is not the id of a copy; it stands in README.txt at the top of the copy and looks like 3f6c0d52-8a31-4c1e-9d57-0b6a4f2e7c19")
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
