package tally

import (
	"sort"
	"time"

	"linecamp/manifest"
)

// A builder gathers one site.
type builder struct {
	home   *home
	days   map[string]*draft // by day
	bare   map[bareKey]*draft
	loose  []*sighting
	last   *draft // the draft the latest file went to; files come in order
	visits []*draft
}

// bareKey is a visit known by its year, or by season and year.
type bareKey struct {
	year   int
	season string
}

// A draft becomes a visit.
type draft struct {
	date, until, season string
	year                int
	files               []*sighting
	shared              []*sighting
	named               bool // a folder or file name tells the day, not the camera alone
	photos              bool
}

// settle turns what was read into sites and visits.
func (r *Result) settle(l *Layout, read []*listing) {
	sort.Slice(read, func(i, j int) bool { return read[i].at.path < read[j].at.path })
	sort.Strings(r.Unlisted)
	n := meet(l, read, r.Unlisted)
	sites := map[*home]*builder{}
	var unfiled []*sighting
	for _, in := range read {
		group(in.files)
		for i := range in.files {
			s := &in.files[i]
			if s.reason != "" {
				r.Waiting = append(r.Waiting, Waiting{s.Path, s.reason})
				continue
			}
			r.Files++
			r.Bytes += s.Size
			h := n.home(s)
			if h == nil {
				unfiled = append(unfiled, s)
				continue
			}
			b := sites[h]
			if b == nil {
				b = &builder{home: h, days: map[string]*draft{}, bare: map[bareKey]*draft{}}
				sites[h] = b
			}
			b.put(s)
		}
	}
	builders := make([]*builder, 0, len(sites))
	for _, b := range sites {
		builders = append(builders, b)
	}
	sort.Slice(builders, func(i, j int) bool {
		a, b := builders[i].home, builders[j].home
		if a.pasture != b.pasture {
			return a.pasture < b.pasture
		}
		return a.site < b.site
	})
	for _, b := range builders {
		b.join()
	}
	share(builders, unfiled)
	for _, b := range builders {
		r.Sites = append(r.Sites, b.site())
	}
	for _, s := range unfiled {
		r.Unfiled = append(r.Unfiled, s.done(""))
	}
	sortFiles(r.Unfiled)
	for _, list := range [][]Waiting{r.Waiting, r.Passed} {
		sort.SliceStable(list, func(i, j int) bool { return list[i].Path < list[j].Path })
	}
}

// dating is a file's date once its picture is known: what names tell, then
// what the camera tells, as far as it does not contradict them. A year folder
// whose photos the camera dates in another year stays at the year.
func (s *sighting) dating() dating {
	if s.lead != nil {
		return s.lead.dating()
	}
	d := *s.when
	if d.day != "" || !s.form.picture() || s.Taken == "" {
		return d
	}
	own := dating{day: s.Taken[:10], year: number(s.Taken[:4]), season: d.season}
	if d.year == 0 && s.at.l.cal.validYear(own.year) || d.year != 0 && d.holds(own) {
		return own
	}
	return d
}

// put puts a file into the draft of its date.
func (b *builder) put(s *sighting) {
	d := s.dating()
	switch {
	case d.day != "":
		v := b.last
		if v == nil || v.date != d.day {
			if v = b.days[d.day]; v == nil {
				v = &draft{date: d.day, year: d.year}
				b.days[d.day] = v
			}
			b.last = v
		}
		v.add(s, d)
		v.named = v.named || s.when.day != ""
	case d.year != 0 && d.to == 0:
		k := bareKey{d.year, d.season}
		v := b.bare[k]
		if v == nil {
			v = &draft{date: dayString(d.year, 1, 1)[:4], year: d.year}
			b.bare[k] = v
		}
		v.add(s, d)
	default:
		b.loose = append(b.loose, s)
	}
}

func (v *draft) add(s *sighting, d dating) {
	v.files = append(v.files, s)
	if v.season == "" {
		v.season = d.season
	}
	v.photos = v.photos || s.Kind == manifest.KindPhoto
}

// join makes visits of the drafts. Adjacent days are one visit where only the
// camera tells them apart, or where one has no photo, as a note written the
// day after. What is known by its year belongs to the year's one visit; of
// several, a note serves all.
func (b *builder) join() {
	days := make([]*draft, 0, len(b.days))
	for _, v := range b.days {
		days = append(days, v)
	}
	sort.Slice(days, func(i, j int) bool { return days[i].date < days[j].date })
	for _, v := range days {
		if n := len(b.visits); n > 0 {
			if p := b.visits[n-1]; adjacent(p.end(), v.date) && (!p.named && !v.named || p.photos != v.photos) && p.season == v.season {
				p.until = v.date
				if !p.photos { // the visit is when the photos were taken
					p.date, p.until = v.date, ""
					p.year = v.year
				} else if !v.photos {
					p.until = ""
				}
				p.files = append(p.files, v.files...)
				p.photos = true
				p.named = p.named || v.named
				continue
			}
		}
		b.visits = append(b.visits, v)
	}
	keys := make([]bareKey, 0, len(b.bare))
	for k := range b.bare {
		keys = append(keys, k)
	}
	// Seasons first: "2019 spring" is a visit before "2019" looks for one.
	sort.Slice(keys, func(i, j int) bool {
		if (keys[i].season == "") != (keys[j].season == "") {
			return keys[j].season == ""
		}
		if keys[i].year != keys[j].year {
			return keys[i].year < keys[j].year
		}
		return seasonOrder(keys[i].season) < seasonOrder(keys[j].season)
	})
	for _, k := range keys {
		b.joinYear(k, b.bare[k])
	}
	sort.SliceStable(b.visits, func(i, j int) bool {
		if b.visits[i].date != b.visits[j].date {
			return b.visits[i].date < b.visits[j].date
		}
		return seasonOrder(b.visits[i].season) < seasonOrder(b.visits[j].season)
	})
}

// joinYear finds the visits that a draft known by its year belongs to.
func (b *builder) joinYear(k bareKey, v *draft) {
	var of []*draft
	for _, x := range b.visits {
		if x.year == k.year && x.fits(k.season) {
			of = append(of, x)
		}
	}
	switch {
	case len(of) == 0:
		b.visits = append(b.visits, v)
	case len(of) == 1:
		of[0].files = append(of[0].files, v.files...)
		of[0].photos = of[0].photos || v.photos
	default:
		owner := of[0]
		if v.photos {
			b.visits = append(b.visits, v)
			of, owner = append(of, v), v
		} else {
			owner.files = append(owner.files, v.files...)
		}
		for _, s := range v.files {
			for _, x := range of {
				if x != owner && s.form == formNote {
					x.shared = append(x.shared, s)
				}
			}
		}
	}
}

// fits reports whether the visit may be the one of a season; "" is any.
func (v *draft) fits(season string) bool {
	if season == "" || v.season == season {
		return true
	}
	m := months[season]
	return m != 0 && len(v.date) > 4 && number(v.date[5:7]) == m
}

func (v *draft) end() string {
	if v.until != "" {
		return v.until
	}
	return v.date
}

// adjacent reports whether b is the day after a.
func adjacent(a, b string) bool {
	t, err := time.Parse(time.DateOnly, a)
	return err == nil && t.AddDate(0, 0, 1).Format(time.DateOnly) == b
}

// seasonOrder puts seasons and months in the order of the year.
func seasonOrder(s string) int {
	if m := months[s]; m != 0 {
		return m * 10
	}
	switch s {
	case "spring":
		return 35
	case "summer":
		return 65
	case "fall":
		return 95
	case "winter":
		return 125
	}
	return 0
}

// site makes the finished site.
func (b *builder) site() Site {
	s := Site{Site: b.home.site, Pasture: b.home.pasture, Base: b.home.base, Visits: make([]Visit, len(b.visits))}
	for i, v := range b.visits {
		s.Visits[i] = v.visit()
	}
	for _, f := range b.loose {
		s.Loose = append(s.Loose, f.done(""))
	}
	sortFiles(s.Loose)
	return s
}

// visit makes the finished visit.
func (v *draft) visit() Visit {
	groupAcross(v.files)
	x := Visit{Date: v.date, Last: v.until, Year: v.year, Season: v.season}
	photos, notes := 0, 0
	for _, s := range v.files {
		switch s.Kind {
		case manifest.KindPhoto:
			photos++
		case manifest.KindNote:
			notes++
		}
	}
	x.Photos, x.Notes, x.Others = room(photos), room(notes), room(len(v.files)-photos-notes)
	for _, s := range v.files {
		switch f := s.done(v.date); f.Kind {
		case manifest.KindPhoto:
			x.Photos = append(x.Photos, f)
		case manifest.KindNote:
			x.Notes = append(x.Notes, f)
		default:
			x.Others = append(x.Others, f)
		}
	}
	for _, s := range v.shared {
		x.Shared = append(x.Shared, s.done(v.date))
	}
	for _, list := range [][]File{x.Photos, x.Notes, x.Others, x.Shared} {
		sortFiles(list)
	}
	return x
}

// room is an empty list for n files; nil for none.
func room(n int) []File {
	if n == 0 {
		return nil
	}
	return make([]File, 0, n)
}

// done is the file as it is reported.
func (s *sighting) done(visit string) File {
	f := s.File
	f.Visit = visit
	if s.lead != nil {
		f.View = s.lead.view
	} else if f.Kind == manifest.KindPhoto {
		f.View = s.view
	}
	return f
}

func sortFiles(list []File) {
	less := func(i, j int) bool { return list[i].Path < list[j].Path }
	if !sort.SliceIsSorted(list, less) {
		sort.Slice(list, less)
	}
}
