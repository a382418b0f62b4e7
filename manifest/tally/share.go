package tally

import (
	"linecamp/manifest/dates"
	"linecamp/manifest/layout"
	"linecamp/manifest/names"
	"linecamp/manifest/within"
)

// share lets notes serve the visits they speak of: one in a pasture's, a
// year's or the working folder serves every site below it, one with a range
// of years in its name each of those years. Without a year it speaks of no
// visit.
func (b *builder) share(notes []*sighting) {
	for _, s := range notes {
		dir := names.Parent(s.Path)
		if b.home.base == "" || within.Below(b.home.base, dir) {
			b.serve(s, dir)
		}
	}
	for _, s := range b.loose {
		if s.said.Form == layout.Note && s.said.When.To != 0 {
			b.serve(s, "")
		}
	}
}

// serving are the notes among files without a site that may serve one.
func serving(unfiled []*sighting) []*sighting {
	var notes []*sighting
	for _, s := range unfiled {
		if s.said.Form == layout.Note && s.said.When.Year != 0 {
			notes = append(notes, s)
		}
	}
	return notes
}

// serve adds a note to the visits of its time that have a file below dir.
func (b *builder) serve(s *sighting, dir string) {
	for _, v := range b.visits {
		if !isAbout(s.said.When, v) {
			continue
		}
		for _, f := range v.files {
			if within.Below(f.Path, dir) {
				v.shared = append(v.shared, s)
				break
			}
		}
	}
}

// isAbout reports whether a note of date d is about the visit.
func isAbout(d *dates.Date, v *draft) bool {
	switch {
	case d.To != 0:
		return v.year >= d.Year && v.year <= d.To
	case v.year != d.Year:
		return false
	case d.Day != "" && len(v.date) > 4:
		return d.Day >= v.date && d.Day <= v.end()
	case v.season == "" && dates.Month(d.Season) == 0:
		return true // nothing says which season the visit was in
	}
	return v.fits(d.Season)
}
