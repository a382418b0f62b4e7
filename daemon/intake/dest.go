package intake

import (
	"path"
	"strconv"
	"strings"
	"time"

	"linecamp/manifest/tally"
)

// mostSame bounds how many pictures of one name a folder may get.
const mostSame = 999

// goTo gives the file the first of the names that is free. A name in use gets a
// number behind it: nothing is ever overwritten.
func (f *File) goTo(names []string, t *taken, a *Archive) {
	for _, name := range names {
		for n := 1; n <= mostSame; n++ {
			p := name
			if n > 1 {
				p = numbered(name, strconv.Itoa(n))
			}
			if t.free(a, p) {
				f.dest, f.To, f.State = p, shown(p), Planned
				return
			}
		}
	}
	f.Reason = "no name for it could be found that the archive's layout understands"
}

// notes puts notes with the visit they are of, where a person named it: notes
// tell no place and no time.
func (p *Plan) notes(notes []tally.File, taken *taken) {
	if len(notes) == 0 {
		return
	}
	var only *Visit
	for i := range p.Visits {
		v := &p.Visits[i]
		if v.goes() {
			if only != nil {
				only = nil
				break
			}
			only = v
		}
	}
	if only == nil || p.o.Site == "" {
		for _, f := range notes {
			p.left(f, "a note does not tell its site; name the visit it belongs to with --visit and --site")
		}
		return
	}
	dir := path.Dir(only.Files[0].dest)
	for _, n := range notes {
		f := File{From: shown(n.Path), Bytes: n.Size, file: n}
		f.goTo([]string{path.Join(dir, path.Base(n.Path))}, taken, only.archive)
		only.Files = append(only.Files, f)
	}
}

// goes reports whether anything of the visit is to be filed.
func (v *Visit) goes() bool {
	for _, f := range v.Files {
		if f.State != "" {
			return true
		}
	}
	return false
}

// Day reads what --date may be: a day that is not in the future.
func Day(s string, now time.Time) (string, bool) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil || t.Format(time.DateOnly) > now.Format(time.DateOnly) || t.Year() < 1850 {
		return "", false
	}
	return s, true
}

// Shift reads what --clock may be: +1h, -35m, +1h30m, -8760h.
func Shift(s string) (time.Duration, bool) {
	if !strings.HasPrefix(s, "+") && !strings.HasPrefix(s, "-") {
		return 0, false
	}
	d, err := time.ParseDuration(s)
	return d, err == nil
}

// View reports whether a word can be a view's name, and part of a file's.
func View(s string) bool {
	return s != "" && s != tally.Untold && len(s) <= 40 && strings.Trim(s, "abcdefghijklmnopqrstuvwxyz0123456789-") == ""
}
