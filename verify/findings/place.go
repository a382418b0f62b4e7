package findings

import (
	"fmt"
	"maps"
	"slices"

	"linecamp/manifest"
	"linecamp/manifest/geo"
	"linecamp/manifest/words"
	"linecamp/verify"
	"linecamp/verify/figures"
	"linecamp/verify/gather"
)

// place is where a site is, as far as anything tells.
type place struct {
	at       geo.Position
	known    bool
	declared bool // by a card or a waypoint; else by the photos themselves
	// wrong is where it is declared to be, where the photos of most visits agree
	// with one another on another place; nil where nothing is amiss.
	wrong  *geo.Position
	visits int // with a position, those that agree
	of     int // of so many
}

// places finds out where each site is: where that is declared, else in the
// middle of what the photos of most of its visits say. Where those agree on a
// place too far from the declared one, it is the declaration that is wrong: a
// minus sign forgotten, another stake's waypoint.
func places(in gather.Input) []place {
	out := make([]place, len(in.Sites))
	for i := range in.Sites {
		out[i] = placeOf(&in, &in.Sites[i], in.Sites[i].List(), "", in.Sites[i].Position)
	}
	return out
}

// Positions are where the sites are; nil where nothing tells.
func Positions(in gather.Input) []*geo.Position {
	out := make([]*geo.Position, len(in.Sites))
	for i, p := range places(in) {
		if p.known {
			out[i] = &p.at
		}
	}
	return out
}

// placeOf finds out where a site is, or where one that it took over was: that was
// measured by itself, and the stake may have been set anew a little further.
func placeOf(in *gather.Input, s *gather.SiteItems, items []gather.Item, of string, declared *geo.Position) (p place) {
	if declared != nil {
		p = place{at: *declared, known: true, declared: true}
	}
	visits := map[string]geo.Position{} // one position for each visit
	most := 0.0                         // the largest error stated
	for _, it := range items {
		if it.File != nil && it.File.At != nil && it.Kind == manifest.KindPhoto && it.Of == of {
			visits[it.Visit] = it.File.At.Position
			most = max(most, it.File.At.Error)
		}
	}
	if len(visits) < figures.VisitsToTell {
		return p
	}
	middle := geo.Middle(slices.Collect(maps.Values(visits)))
	near := 0
	for _, v := range visits {
		if geo.Distance(v, middle) <= in.Meters(s) {
			near++
		}
	}
	switch agree := near >= figures.VisitsToTell && figures.Most(near, len(visits)); {
	case agree && !p.known:
		return place{at: middle, known: true}
	case agree && geo.Distance(middle, p.at) > in.Meters(s)+most:
		return place{at: middle, known: true, wrong: declared, visits: near, of: len(visits)}
	}
	return p
}

// misplaced finds a site that is declared to be where its photos were not taken.
// It is said once, not of every visit.
func (x *finder) misplaced(s *gather.SiteItems) {
	at := x.place(s)
	if at.wrong == nil {
		return
	}
	off := geo.Distance(*at.wrong, at.at)
	x.add(s, verify.Finding{Kind: verify.FoundDeclared, Distances: []float64{off},
		Text: fmt.Sprintf("the site is declared to be at %s; that is %s from where the photos of %d of its %d visits with a position were taken (%s)",
			at.wrong, geo.Meters.Distance(off), at.visits, at.of, at.at),
		Todo: "Correct latitude and longitude in its site.toml, or the waypoint of its name. Until then its photos are held against one another."})
}

// elsewhere finds photos of a visit that were taken too far from the site, each
// held against the stake it was taken at.
func (x *finder) elsewhere(s *gather.SiteItems, visit string, photos []gather.Item) {
	own := photos
	if len(s.Formers) > 0 {
		of := func(object string) (some []gather.Item) {
			for _, it := range photos {
				if it.Of == object {
					some = append(some, it)
				}
			}
			return some
		}
		own = of("")
		for _, f := range s.Formers {
			if some := of(f.Object); f.Object != "" && len(some) > 0 {
				x.awayFrom(placeOf(&x.in, s, s.List(), f.Object, f.Position), s, visit, some)
			}
		}
	}
	x.awayFrom(x.place(s), s, visit, own)
}

func (x *finder) awayFrom(at place, s *gather.SiteItems, visit string, photos []gather.Item) {
	if !at.known {
		return
	}
	var far []gather.Item
	most := 0.0
	var worst *geo.Fix
	for _, it := range photos {
		fix := it.File.At
		if fix == nil {
			continue
		}
		if d := geo.Distance(fix.Position, at.at); d > x.in.Meters(s)+fix.Error {
			far = append(far, it)
			if d > most {
				most, worst = d, fix
			}
		}
	}
	if len(far) == 0 {
		return
	}
	from := "the site"
	if !at.declared {
		from = "where the other visits' photos were taken"
	}
	text := fmt.Sprintf("%s taken %s from %s", words.Count(int64(len(far)), "photo"), geo.Meters.Distance(most), from)
	distances := []float64{most}
	if worst.Error > 0 {
		distances = append(distances, worst.Error)
		text += fmt.Sprintf(" (the camera's position was good to %s)", geo.Meters.Distance(worst.Error))
	}
	o, d := x.nearest(s, worst.Position)
	if o != nil {
		distances = append(distances, d)
		text += fmt.Sprintf("; the nearest other site is %s, %s away", o.Label(""), geo.Meters.Distance(d))
	}
	m := moved{site: s, visit: visit, finding: verify.Finding{Visit: visit, Kind: verify.FoundElsewhere, Paths: pathsOf(far), Text: text, Distances: distances,
		Todo: "See whether the photos belong to the other site. If they are right here, put the reason on file."}}
	if o != nil && d <= x.in.Meters(o)+worst.Error {
		m.to = o
	}
	x.moved = append(x.moved, m)
}

// moved are photos of a visit that were taken elsewhere.
type moved struct {
	site, to *gather.SiteItems // to is the site they were taken at, nil for none
	visit    string
	finding  verify.Finding
}

// settleMoved tells two visits that have each other's photos from photos that
// are in the wrong place by themselves.
func (x *finder) settleMoved() {
	done := map[int]bool{}
	for i, a := range x.moved {
		if done[i] {
			continue
		}
		other := slices.IndexFunc(x.moved, func(b moved) bool {
			from, to, _ := visitSpan(a.visit)
			first, last, _ := visitSpan(b.visit)
			return a.to != nil && b.site == a.to && b.to == a.site &&
				!first.After(to.AddDate(0, 0, figures.DaysAround)) && !last.Before(from.AddDate(0, 0, -figures.DaysAround))
		})
		if other < 0 {
			x.add(a.site, a.finding)
			continue
		}
		done[other] = true
		b := x.moved[other]
		x.add(a.site, verify.Finding{Visit: a.visit, Kind: verify.FoundSwapped, Paths: slices.Concat(a.finding.Paths, b.finding.Paths),
			Text: fmt.Sprintf("its photos were taken at %s, and those of %s here", a.to.Label(""), a.to.Label(b.visit)),
			Todo: "Look at the photo boards. If they say so too, swap the photos of the two folders."})
	}
}

func (x *finder) place(s *gather.SiteItems) place {
	for i := range x.in.Sites {
		if &x.in.Sites[i] == s {
			return x.places[i]
		}
	}
	return place{}
}

// nearest is the site closest to a position, other than s.
func (x *finder) nearest(s *gather.SiteItems, p geo.Position) (site *gather.SiteItems, distance float64) {
	for i := range x.in.Sites {
		o := &x.in.Sites[i]
		if o == s || !x.places[i].known {
			continue
		}
		if d := geo.Distance(p, x.places[i].at); site == nil || d < distance {
			site, distance = o, d
		}
	}
	return site, distance
}
