package intake

import (
	"path"
	"regexp"
	"strings"
	"time"

	"linecamp/manifest/tally"
)

// dayForms are the ways a day, or a part of it, is written in folders and names, as
// Go's time package spells them; the fullest first. That one fits by accident
// does no harm: every name is read back by the archive's own layout before it
// is used.
var dayForms = []string{
	"2006-01-02", "2006_01_02", "2006.01.02", "2006 01 02", "20060102",
	"2006/01/02", "2006/01-02", "2006/01_02", "2006/0102", "2006/2006-01-02",
	"January 2, 2006", "2 January 2006", "Jan 2, 2006", "2 Jan 2006", "02 Jan 2006",
	"01-02-2006", "02-01-2006", "01_02_2006", "01.02.2006", "02.01.2006", "1-2-2006",
	"2006/01 January", "2006/January", "2006/01", "2006-01", "January 2006", "Jan 2006", "Jan_2006",
}

var yearInside = regexp.MustCompile(`(^|[^0-9])((?:19|20)[0-9]{2})($|[^0-9])`)

// redated writes a path of one day as it would be of another. ok is false if
// there is no date in it.
func redated(p string, was, is time.Time, dayKnown bool) (string, bool) {
	if dayKnown {
		for _, form := range dayForms {
			if old := was.Format(form); strings.Contains(p, old) {
				p = strings.Replace(p, old, is.Format(form), 1)
				// The year may stand above the day as well.
				q, _ := redatedYear(p, was, is)
				return q, true
			}
		}
	}
	return redatedYear(p, was, is)
}

func redatedYear(p string, was, is time.Time) (string, bool) {
	done := false
	old := was.Format("2006")
	for _, m := range yearInside.FindAllStringSubmatchIndex(p, -1) {
		if p[m[4]:m[5]] == old {
			p = p[:m[4]] + is.Format("2006") + p[m[5]:]
			done = true
		}
	}
	return p, done
}

// longNumber is what the names that cameras and phones give have in them.
var longNumber = regexp.MustCompile(`[0-9]{4,}`)

// wanted is a picture that needs a place and a name.
type wanted struct {
	s      *site
	day    time.Time
	view   string // tally.Untold for none
	camera string // its name on the card
}

// names proposes paths for a picture in the archive's own manner, best first.
// Each of them is understood by the archive's layout as what is wanted.
func (w wanted) names() []string {
	var list []string
	add := func(p string) {
		if w.understood(p) {
			list = append(list, p)
		}
	}
	ext := path.Ext(w.camera)
	stem := strings.TrimSuffix(w.camera, ext)
	for _, like := range w.models() {
		was, dayKnown := dateOf(like)
		if was.IsZero() {
			continue
		}
		dir, base := path.Split(like.Path)
		newDir, inDir := redated(dir, was, w.day, dayKnown)
		oldExt := path.Ext(base)
		oldStem := strings.TrimSuffix(base, oldExt)
		newStem, inName := redated(oldStem, was, w.day, dayKnown)
		e := strings.ToLower(ext)
		if oldExt != "" && oldExt == strings.ToUpper(oldExt) {
			e = strings.ToUpper(ext)
		}
		rest := newStem
		if inName {
			rest = strings.ReplaceAll(rest, w.day.Format("2006"), "")
			rest = strings.ReplaceAll(rest, w.day.Format("0102"), "")
		}
		cameras := like.View == tally.Untold || longNumber.MatchString(rest) // the archive keeps cameras' names
		switch {
		case like.View == w.view && !cameras:
			add(newDir + newStem + e)
		case w.view != tally.Untold && !cameras && !inName:
			add(newDir + w.view + e)
		case w.view != tally.Untold && !cameras:
			add(newDir + w.day.Format(time.DateOnly) + " " + w.view + e)
		case inDir || !inName:
			add(newDir + stem + ext)
		default:
			add(newDir + w.day.Format(time.DateOnly) + " " + stem + ext)
		}
		if w.view == tally.Untold {
			add(newDir + stem + ext)
		}
	}
	root := w.s.Base
	if root == "" {
		root = path.Join(w.s.Pasture, w.s.Site.Site)
	}
	root = path.Join(root, w.day.Format(time.DateOnly))
	if w.view != tally.Untold {
		add(path.Join(root, w.view+strings.ToLower(ext)))
	}
	add(path.Join(root, w.camera))
	return list
}

// understood reports whether the archive's layout reads p as what is wanted.
// A view may be in the name or not, but never another one.
func (w wanted) understood(p string) bool {
	u := w.s.archive.Layout.Understand(p)
	if u.Unfiled || u.Site != w.s.Site.Site || u.Pasture != w.s.Pasture {
		return false
	}
	if w.s.Base != "" && u.Base != w.s.Base {
		return false
	}
	if u.Date != w.day.Format(time.DateOnly) && (u.Date != "" || u.Year != w.day.Year() || u.To != 0) {
		return false
	}
	return u.View == w.view || u.View == tally.Untold || u.View == "" || w.view == tally.Untold
}

// models are pictures of the site to take after: of the same view first, of
// the nearest season where folders name seasons, else the newest.
func (w wanted) models() []tally.File {
	var same, other []tally.File
	visits := w.s.visits
	for _, v := range visits {
		if v.Season != "" {
			visits = bySeason(visits, w.day)
			break
		}
	}
	for _, v := range visits[:min(6, len(visits))] {
		has := map[string]bool{}
		for f := range v.Photos.All() {
			has[f.Path] = true
		}
		for f := range v.Photos.All() {
			ext := path.Ext(f.Path)
			if m := another.FindStringSubmatch(strings.TrimSuffix(f.Path, ext)); m != nil && has[m[1]+ext] {
				continue // its number tells it from the first, and is no part of the manner
			}
			if f.View == w.view {
				same = append(same, f)
			} else {
				other = append(other, f)
			}
		}
	}
	return append(same[:min(4, len(same))], other[:min(4, len(other))]...)
}

// dateOf is the day a filed picture belongs to; dayKnown is false if all that
// is known is the year.
func dateOf(f tally.File) (day time.Time, dayKnown bool) {
	if t, err := time.Parse(time.DateOnly, f.Visit); err == nil {
		return t, true
	}
	t, err := time.Parse("2006", f.Visit)
	if err != nil {
		return time.Time{}, false
	}
	if len(f.Taken) >= 10 && f.Taken[:4] == f.Visit {
		if d, err := time.Parse(time.DateOnly, f.Taken[:10]); err == nil {
			return d, true
		}
	}
	return t, false
}

// bySeason puts visits of the day's season before others.
func bySeason(visits []*tally.Visit, day time.Time) []*tally.Visit {
	var in, out []*tally.Visit
	for _, v := range visits {
		match := false
		for f := range v.Photos.All() {
			if d, ok := dateOf(f); ok && near(d, day) {
				match = true
			}
		}
		if match {
			in = append(in, v)
		} else {
			out = append(out, v)
		}
	}
	return append(in, out...)
}

// another is the end of a name that numbered gave.
var another = regexp.MustCompile(`^(.*)-[0-9]{1,2}$`)

// numbered is the n-th name after p: plot.jpg, plot-2.jpg, plot-3.jpg.
func numbered(p string, n string) string {
	ext := path.Ext(p)
	return strings.TrimSuffix(p, ext) + "-" + n + ext
}
