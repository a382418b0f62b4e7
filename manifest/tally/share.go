package tally

import "strings"

// share lets notes serve the visits they speak of: one in a pasture's, a
// year's or the working folder serves every site below it, one with a range
// of years in its name each of those years. Without a year it speaks of no
// visit.
func (b *builder) share(notes []*sighting) {
	for _, s := range notes {
		dir := parent(s.Path)
		if b.home.base == "" || below(b.home.base, dir) {
			b.serve(s, dir)
		}
	}
	for _, s := range b.loose {
		if s.form == formNote && s.when.to != 0 {
			b.serve(s, "")
		}
	}
}

// serving are the notes among files without a site that may serve one.
func serving(unfiled []*sighting) []*sighting {
	var notes []*sighting
	for _, s := range unfiled {
		if s.form == formNote && s.when.year != 0 {
			notes = append(notes, s)
		}
	}
	return notes
}

// serve adds a note to the visits of its time that have a file below dir.
func (b *builder) serve(s *sighting, dir string) {
	for _, v := range b.visits {
		if !s.when.speaksOf(v) {
			continue
		}
		for _, f := range v.files {
			if below(f.Path, dir) {
				v.shared = append(v.shared, s)
				break
			}
		}
	}
}

// speaksOf reports whether a note of date d is about the visit.
func (d *dating) speaksOf(v *draft) bool {
	switch {
	case d.to != 0:
		return v.year >= d.year && v.year <= d.to
	case v.year != d.year:
		return false
	case d.day != "" && len(v.date) > 4:
		return d.day >= v.date && d.day <= v.end()
	case v.season == "" && months[d.season] == 0:
		return true // nothing says which season the visit was in
	}
	return v.fits(d.season)
}

// below reports whether path lies in dir or deeper; everything lies below "".
func below(path, dir string) bool {
	return dir == "" || len(path) > len(dir) && path[len(dir)] == '/' && strings.HasPrefix(path, dir)
}
