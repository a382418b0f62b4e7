package tally

import (
	"time"

	"linecamp/manifest"
	"linecamp/manifest/dates"
	"linecamp/manifest/names"
)

// Undated are photos of one folder of a site that are of no known day.
type Undated struct {
	Site, Pasture string
	dates.Doubt       // its Folder is where they lie
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
	d, found := dates.InDoubt(f.Path, site, now)
	filed := f.Visit != ""
	switch {
	case filed && len(d.Days) == 0:
		return // a year is all that was ever told
	case !found:
		d.Folder = names.Parent(f.Path)
	}
	if g.last == nil || g.last.Folder != d.Folder || g.last.Filed != filed {
		g.last = &Undated{Doubt: d, Filed: filed}
		g.list = append(g.list, g.last)
	}
	g.last.Photos++
}
