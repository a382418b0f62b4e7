package intake

import (
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"linecamp/manifest/tally"
)

// films are what cameras and phones write beside pictures: moving ones, and
// panoramas in forms of their own.
var films = []string{".mov", ".mp4", ".m4v", ".avi", ".mts", ".m2ts", ".mpg", ".mpeg", ".3gp", ".3g2", ".mkv", ".webm", ".wmv", ".insv", ".insp", ".360", ".pano"}

func film(p string) bool { return slices.Contains(films, strings.ToLower(path.Ext(p))) }

// films puts films with the visit they were taken on. Most say nothing of place or
// time, so the card tells: a film was written within a quarter of an hour of a
// picture, by the same clock; or its number stands between those of a visit's
// pictures, or next to one where no other follows. Where that fits two visits
// alike, or none, a day in its name may tell, or the one visit that a person named.
func (p *Plan) films(films []tally.File, taken *taken) {
	for _, f := range films {
		v := p.filmOf(f)
		if v == nil {
			p.left(f, "a video, and no visit of this card was at its time; name the one visit it is of with --visit and --site")
			continue
		}
		file := File{From: shown(f.Path), Bytes: f.Size, file: f}
		if names := v.inFolder(f.Path); names != nil {
			file.goTo(names, taken, v.archive)
		}
		v.Files = append(v.Files, file)
	}
}

func (p *Plan) filmOf(f tally.File) *Visit {
	if v, told := p.byTime(f); told {
		return v
	}
	if v := p.byNumber(f); v != nil {
		return v
	}
	var day, told []*Visit
	for i := range p.Visits {
		v := &p.Visits[i]
		if len(f.Visit) == len(time.DateOnly) && v.Date == f.Visit {
			day = append(day, v)
		}
		if v.goes() {
			told = append(told, v)
		}
	}
	switch {
	case len(day) == 1:
		return day[0]
	case len(told) == 1 && p.o.Site != "":
		return told[0]
	}
	return nil
}

// byTime finds the visit whose pictures were written at a film's time. told is
// false where the pictures' times are not those of the camera, as after copying.
func (p *Plan) byTime(f tally.File) (v *Visit, told bool) {
	apart := make([]time.Duration, len(p.Visits))
	best, second := -1, -1
	for i := range p.Visits {
		apart[i] = pause + 1
		for _, s := range p.Visits[i].Files {
			if s.shot && asTaken(s.file) {
				told = true
				apart[i] = min(apart[i], s.file.Modified.Sub(f.Modified).Abs())
			}
		}
		switch {
		case apart[i] > pause:
		case best < 0 || apart[i] < apart[best]:
			best, second = i, best
		case second < 0 || apart[i] < apart[second]:
			second = i
		}
	}
	if best >= 0 && (second < 0 || apart[second]-apart[best] > time.Minute) {
		return &p.Visits[best], true
	}
	return nil, told && best >= 0
}

// asTaken reports whether a file's time is about when its picture was taken, in
// whatever zone.
func asTaken(f tally.File) bool {
	const form = "2006-01-02T15:04:05"
	if len(f.Taken) < len(form) {
		return false
	}
	t, err := time.Parse(form, f.Taken[:len(form)])
	return err == nil && f.Modified.Sub(t).Abs() <= 26*time.Hour
}

var lastNumber = regexp.MustCompile(`[0-9]+`)

// byNumber finds the visit in whose pictures' numbers a film's falls.
func (p *Plan) byNumber(f tally.File) *Visit {
	n, ok := numberOf(f.Path)
	if !ok {
		return nil
	}
	var before, after *Visit
	low, high := -1, -1
	for i := range p.Visits {
		for _, s := range p.Visits[i].Files {
			m, ok := numberOf(s.file.Path)
			if !ok || !s.shot || path.Dir(s.file.Path) != path.Dir(f.Path) {
				continue
			}
			if m < n && m > low {
				low, before = m, &p.Visits[i]
			}
			if m > n && (high < 0 || m < high) {
				high, after = m, &p.Visits[i]
			}
		}
	}
	switch {
	case before == after:
		return before
	case after == nil && n-low == 1:
		return before
	case before == nil && high-n == 1:
		return after
	}
	return nil
}

// numberOf is the number a camera gave a file: the last in its name.
func numberOf(p string) (int, bool) {
	all := lastNumber.FindAllString(path.Base(strings.TrimSuffix(p, path.Ext(p))), -1)
	if len(all) == 0 {
		return 0, false
	}
	n, err := strconv.Atoi(all[len(all)-1])
	return n, err == nil
}
