package tally

import (
	"slices"
	"sort"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/dates"
	"linecamp/manifest/layout"
)

// A builder gathers one site.
type builder struct {
	home   *home
	parts  []part
	days   map[string]*draft // by day
	bare   map[bareKey]*draft
	loose  []*sighting
	last   *draft // the draft the latest file went to; files come in order
	visits []*draft
}

// part is some of a site's files: a folder whose files are still packed, or ones
// that were unpacked already since the folder has files of other sites too.
type part struct {
	in    *finished
	files []*sighting
}

// bareKey is a visit known by its year, or by season and year, or as one of several
// days of it.
type bareKey struct {
	year   int
	season string
	maybe  [3]string
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

// settle turns what was read into sites and visits. A site at a time is
// unpacked and packed again, so that no more than a few are in memory whole.
func (r *Result) settle(l *layout.Layout, n *neighbors, read []*finished, order string, workers int) {
	sort.Slice(read, func(i, j int) bool { return read[i].path < read[j].path })
	n.meet(l, r.Unlisted)
	l.Decide(n.dates.Decide(order))
	sites := map[*home]*builder{}
	site := func(h *home) *builder {
		b := sites[h]
		if b == nil {
			b = &builder{home: h, days: map[string]*draft{}, bare: map[bareKey]*draft{}}
			sites[h] = b
		}
		return b
	}
	var unfiled []*sighting
	for _, in := range read {
		at := l.Folder(in.path)
		if h := n.home(at); h != nil && !at.HasFileNames() {
			b := site(h)
			b.parts = append(b.parts, part{in: in})
			continue
		}
		files := in.sightings(at)
		for i := range files {
			s := &files[i]
			h := n.home(s.said.At)
			if s.lead != nil {
				h = n.home(s.lead.said.At) // wherever its photo goes
			}
			if h == nil {
				unfiled = append(unfiled, s)
				continue
			}
			b := site(h)
			if k := len(b.parts); k == 0 || b.parts[k-1].in != nil {
				b.parts = append(b.parts, part{})
			}
			p := &b.parts[len(b.parts)-1]
			p.files = append(p.files, s)
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
	notes := serving(unfiled)
	r.Sites = make([]Site, len(builders))
	var next atomic.Int64
	var all sync.WaitGroup
	for range workers {
		all.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(builders); i = int(next.Add(1)) - 1 {
				b := builders[i]
				b.gather(l)
				b.join()
				b.share(notes)
				r.Sites[i] = b.site()
				builders[i] = nil
			}
		})
	}
	all.Wait()
	var p packer
	r.Unfiled = p.files(unfiled, "")
	p.done()
}

// gather puts the files of the site into drafts.
func (b *builder) gather(l *layout.Layout) {
	for i := range b.parts {
		p := &b.parts[i]
		if p.in != nil {
			files := p.in.sightings(l.Folder(p.in.path))
			p.in.files = Files{}
			for k := range files {
				b.put(l, &files[k])
			}
		}
		for _, s := range p.files {
			b.put(l, s)
		}
		*p = part{}
	}
}

// dates.Date is a file's date once its picture is known: what names tell, then
// what the camera tells, as far as it does not contradict them. A year folder
// whose photos the camera dates in another year stays at the year.
func (s *sighting) dating(l *layout.Layout) dates.Date {
	if s.lead != nil {
		return s.lead.dating(l)
	}
	d := *s.said.When
	if d.Day != "" || !s.said.Form.IsPicture() || s.Taken == "" {
		return d
	}
	own := dates.Date{Day: s.Taken[:10], Year: dates.Number(s.Taken[:4]), Season: d.Season}
	if !d.IsTold() && l.IsYear(own.Year) || d.IsTold() && d.Has(own) {
		return own
	}
	return d
}

// put puts a file into the draft of its date.
func (b *builder) put(l *layout.Layout, s *sighting) {
	d := s.dating(l)
	switch {
	case d.Day != "":
		v := b.last
		if v == nil || v.date != d.Day {
			if v = b.days[d.Day]; v == nil {
				v = &draft{date: d.Day, year: d.Year}
				b.days[d.Day] = v
			}
			b.last = v
		}
		v.add(s, d)
		v.named = v.named || s.said.When.Day != ""
	case d.Year != 0 && d.To == 0:
		k := bareKey{year: d.Year, season: d.Season}
		if d.IsUnsure() {
			k.maybe = d.Maybe
		}
		v := b.bare[k]
		if v == nil {
			v = &draft{date: dates.Format(d.Year, 1, 1)[:4], year: d.Year}
			b.bare[k] = v
		}
		v.add(s, d)
	default:
		b.loose = append(b.loose, s)
	}
}

func (v *draft) add(s *sighting, d dates.Date) {
	v.files = append(v.files, s)
	if v.season == "" {
		v.season = d.Season
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
		if o := dates.SeasonOrder(keys[i].season) - dates.SeasonOrder(keys[j].season); o != 0 {
			return o < 0
		}
		return strings.Join(keys[i].maybe[:], " ") < strings.Join(keys[j].maybe[:], " ")
	})
	for _, k := range keys {
		b.joinYear(k, b.bare[k])
	}
	sort.SliceStable(b.visits, func(i, j int) bool {
		if b.visits[i].date != b.visits[j].date {
			return b.visits[i].date < b.visits[j].date
		}
		return dates.SeasonOrder(b.visits[i].season) < dates.SeasonOrder(b.visits[j].season)
	})
}

// joinYear finds the visits that a draft known by its year belongs to.
func (b *builder) joinYear(k bareKey, v *draft) {
	var of []*draft
	for _, x := range b.visits {
		if x.year == k.year && x.fits(k.season) && k.mayBe(x.date) {
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
				if x != owner && s.said.Form == layout.Note {
					x.shared = append(x.shared, s)
				}
			}
		}
	}
}

// mayBe reports whether a visit on that date may be this one.
func (k bareKey) mayBe(date string) bool {
	return k.maybe == [3]string{} || slices.Contains(k.maybe[:], date)
}

// fits reports whether the visit may be the one of a season; "" is any.
func (v *draft) fits(season string) bool {
	if season == "" || v.season == season {
		return true
	}
	m := dates.Month(season)
	return m != 0 && len(v.date) > 4 && dates.Number(v.date[5:7]) == m
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

// site makes the finished site.
func (b *builder) site() Site {
	p := packer{prefix: b.home.base}
	s := Site{Site: b.home.site, Pasture: b.home.pasture, Base: b.home.base, Visits: make([]Visit, len(b.visits))}
	for i, v := range b.visits {
		s.Visits[i] = v.visit(&p)
	}
	s.Loose = p.files(b.loose, "")
	p.done()
	return s
}

// visit makes the finished visit.
func (v *draft) visit(p *packer) Visit {
	groupAcross(v.files)
	x := Visit{Date: v.date, Last: v.until, Year: v.year, Season: v.season}
	var photos, notes, others []*sighting
	for _, s := range v.files {
		switch s.Kind {
		case manifest.KindPhoto:
			photos = append(photos, s)
		case manifest.KindNote:
			notes = append(notes, s)
		default:
			others = append(others, s)
		}
	}
	x.Photos, x.Notes, x.Others, x.Shared = p.files(photos, v.date), p.files(notes, v.date), p.files(others, v.date), p.files(v.shared, v.date)
	return x
}

// done is the file as it is reported.
func (s *sighting) done(visit string) File {
	f := s.File
	f.Visit = visit
	if s.lead != nil {
		f.View = s.lead.said.View
	} else if f.Kind == manifest.KindPhoto {
		f.View = s.said.View
	}
	return f
}

// files packs a list in the order of paths. It sorts the list it is given.
func (p *packer) files(list []*sighting, visit string) Files {
	if len(list) == 0 {
		return Files{}
	}
	less := func(i, j int) bool { return list[i].Path < list[j].Path }
	if !sort.SliceIsSorted(list, less) {
		sort.Slice(list, less)
	}
	l := p.begin()
	for _, s := range list {
		f := s.done(visit)
		p.file(&l, &f)
	}
	return l
}
