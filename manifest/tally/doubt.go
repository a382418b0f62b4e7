package tally

import (
	"slices"
	"time"

	"linecamp/manifest"
)

// A Doubt is a name that may date photos, and does not tell which day they are of.
type Doubt struct {
	// Folder has the name; of a file's own name it is the folder the file lies in.
	Folder string
	// Days are those it may mean; none where it tells no whole day.
	Days []string
	// Years are those it may be of; none where it may be any.
	Years []int
}

// In reports whether the photos may be of a year.
func (d Doubt) In(year int) bool { return len(d.Years) == 0 || slices.Contains(d.Years, year) }

// InDoubt finds the name on a photo's path that may date it: below the folder of its
// site, and by the path alone. found is false where nothing there looks like a date.
func InDoubt(path, site string, now time.Time) (d Doubt, found bool) {
	c := calendar{lastYear: now.Year() + 1}
	dir := parent(path)
	if own := c.narrow(c.read(stem(path[nameAt(path):]), true), path); own.unsure() {
		return doubtOf(dir, own), true
	}
	for ; dir != "" && dir[nameAt(dir):] != site; dir = parent(dir) {
		name := dir[nameAt(dir):]
		own := c.narrow(c.read(name, false), dir)
		if own.unsure() {
			return doubtOf(dir, own), true
		}
		if own.to != 0 { // 2001-2015
			d.Folder = dir
			for y := own.year; y <= own.to; y++ {
				d.Years = append(d.Years, y)
			}
			return d, true
		}
		if years, ok := c.partly(name); ok {
			return Doubt{Folder: dir, Years: years}, true
		}
	}
	return Doubt{}, false
}

// narrow leaves the readings of a name at path that fit the dates above it.
func (c calendar) narrow(d dating, path string) dating {
	for path = parent(path); path != "" && d.unsure(); path = parent(path) {
		if above := c.read(path[nameAt(path):], false); above.tells() && !above.unsure() && (above.pure || above.first) {
			d = d.among(above)
		}
	}
	return d
}

func doubtOf(dir string, d dating) Doubt {
	x := Doubt{Folder: dir, Days: d.ways()}
	slices.Sort(x.Days)
	for _, day := range x.Days {
		x.Years = append(x.Years, number(day[:4]))
	}
	slices.Sort(x.Years)
	x.Years = slices.Compact(x.Years)
	return x
}

// partly reports whether a folder's name is a part of a date: a month, a season or a
// day without a year, two digits that may be one. years are those it may be of; none
// for any.
func (c calendar) partly(name string) (years []int, ok bool) {
	w := split(name)
	for len(w) > 1 && emptyWords[w[len(w)-1].text] {
		w = w[:len(w)-1]
	}
	if len(w) == 0 || len(w) > 2 {
		return nil, false
	}
	day := func(m, d string) bool {
		return len(m) <= 2 && len(d) <= 2 && (validDay(2000, number(m), number(d)) || validDay(2000, number(d), number(m)))
	}
	t := w[0].text
	switch {
	case len(w) == 1 && (seasons[t] != "" || months[t] != 0): // June
		return nil, true
	case len(w) == 2 && (months[t] != 0 && w[1].digits || months[w[1].text] != 0 && w[0].digits): // June 21, 21 June
		return nil, true
	case len(w) == 2 && w[0].digits && w[1].digits && joined(w[1]): // 6-21
		return nil, day(t, w[1].text)
	case len(w) == 2 || !w[0].digits:
		return nil, false
	case len(t) == 2: // 19
		return []int{c.century(number(t))}, true
	case len(t) == 3 || len(t) == 4: // 621, 0621
		return nil, day(t[:len(t)-2], t[len(t)-2:])
	case len(t) == 5: // 62119
		d := c.numbers(t[:1], t[1:3], t[3:])
		return doubtOf("", d).Years, d.tells()
	}
	return nil, false
}

// Undated are photos of one folder of a site that are of no known day.
type Undated struct {
	Site, Pasture string
	Doubt             // its Folder is where they lie
	Photos        int // how many
	// Filed: they count for the year of their visit, whose day alone is not known.
	Filed bool
}

// Undated lists the photos that lie with a site and whose day nothing tells, by
// folder: those of no year, and those whose folder can be read as several days of one.
func (r *Result) Undated() []Undated {
	var all []Undated
	for i := range r.Sites {
		s := &r.Sites[i]
		var g undatedIn
		for f := range s.Loose.All() {
			g.add(s.Site, f, r.now)
		}
		for k := range s.Visits {
			if v := &s.Visits[k]; len(v.Date) == 4 {
				for f := range v.Photos.All() {
					g.add(s.Site, f, r.now)
				}
			}
		}
		for _, u := range g.list {
			u.Site, u.Pasture = s.Site, s.Pasture
			all = append(all, *u)
		}
	}
	return all
}

// undatedIn gathers the undated photos of one site.
type undatedIn struct {
	list []*Undated
	last *Undated
}

func (g *undatedIn) add(site string, f File, now time.Time) {
	if f.Kind != manifest.KindPhoto {
		return
	}
	d, found := InDoubt(f.Path, site, now)
	filed := f.Visit != ""
	switch {
	case filed && len(d.Days) == 0:
		return // a year is all that was ever told
	case !found:
		d.Folder = parent(f.Path)
	}
	if g.last == nil || g.last.Folder != d.Folder || g.last.Filed != filed {
		g.last = &Undated{Doubt: d, Filed: filed}
		g.list = append(g.list, g.last)
	}
	g.last.Photos++
}
