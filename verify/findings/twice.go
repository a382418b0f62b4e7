package findings

import (
	"cmp"
	"fmt"
	"slices"

	"linecamp/manifest"
	"linecamp/manifest/geo"
	"linecamp/manifest/words"
	"linecamp/verify"
	"linecamp/verify/gather"
)

// filed is one photo with the visit it is filed under.
type filed struct {
	site  *gather.SiteItems
	visit string
	path  string
	fits  bool // its date and position do not speak against it
}

// twins finds, of photos whose bytes are there twice, those filed under two sites or two years: by
// their digest, in the order of the sites. Where one of them is in its place, the
// others are set aside, so that nothing else is said of them.
func (x *finder) twins(twice gather.Repeated) (where map[manifest.Digest][]filed, order []manifest.Digest) {
	where = map[manifest.Digest][]filed{}
	for i := 0; len(twice) > 0 && i < len(x.in.Sites); i++ {
		s := &x.in.Sites[i]
		for _, it := range s.List() {
			if !isPhoto(it) || !twice.Has(it.File.SHA256) {
				continue
			}
			d := it.File.SHA256
			if where[d] == nil {
				order = append(order, d)
			}
			where[d] = append(where[d], filed{s, it.Visit, it.Path, x.fits(s, it)})
		}
	}
	x.aside = map[string]bool{}
	for _, all := range where {
		if slices.ContainsFunc(all, func(f filed) bool { return f.fits }) {
			for _, f := range all {
				x.aside[f.path] = !f.fits
			}
		}
	}
	return where, order
}

// fits reports whether a photo's date and position allow that it lies where it does.
func (x *finder) fits(s *gather.SiteItems, it gather.Item) bool {
	if d, ok := takenDay(it); ok && it.Visit != "" {
		from, to, around := visitSpan(it.Visit)
		if d.Before(from.AddDate(0, 0, -around)) || d.After(to.AddDate(0, 0, around)) {
			return false
		}
	}
	at, fix := x.place(s), it.File.At
	return !at.known || fix == nil || geo.Distance(fix.Position, at.at) <= x.in.Meters(s)+fix.Error
}

// twice tells of the photos whose same bytes are filed under two sites or two years.
// A second copy within one site's year is somebody's choice, and no finding.
func (x *finder) twice(where map[manifest.Digest][]filed, order []manifest.Digest) {
	// One finding for each pair of visits, however many photos they share.
	type pair struct{ a, b filed }
	shared := map[pair][]string{}
	var pairs []pair
	for _, d := range order {
		all := where[d]
		for _, b := range all[1:] {
			a := all[0]
			ya, _ := verify.YearOf(a.visit)
			if yb, _ := verify.YearOf(b.visit); a.site == b.site && ya == yb {
				continue
			}
			p := pair{filed{a.site, a.visit, "", a.fits}, filed{b.site, b.visit, "", b.fits}}
			if shared[p] == nil {
				pairs = append(pairs, p)
			}
			shared[p] = append(shared[p], a.path, b.path)
		}
	}
	slices.SortStableFunc(pairs, func(p, q pair) int {
		return cmp.Or(cmp.Compare(p.a.site.Label(p.a.visit), q.a.site.Label(q.a.visit)), cmp.Compare(p.b.site.Label(p.b.visit), q.b.site.Label(q.b.visit)))
	})
	for _, p := range pairs {
		paths := shared[p]
		slices.Sort(paths)
		paths = slices.Compact(paths)
		text := fmt.Sprintf("%s filed here and, byte for byte, also under %s", words.Count(int64(len(shared[p])/2), "photo"), p.b.site.Label(p.b.visit))
		switch {
		case p.a.fits && !p.b.fits:
			text += "; the date and position fit here"
		case p.b.fits && !p.a.fits:
			text += "; the date and position fit there"
		}
		x.add(p.a.site, verify.Finding{Visit: p.a.visit, Kind: verify.FoundTwice, Paths: paths, Text: text,
			Todo: "One of the two places is wrong. Take the photo out there; the copies keep both. If it belongs in both, put the reason on file."})
	}
}
