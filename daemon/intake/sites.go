package intake

import (
	"maps"
	"slices"
	"strings"
	"time"

	"linecamp/manifest/card"
	"linecamp/manifest/tally"
)

// A site is one photo point as intake needs it.
type site struct {
	archive *Archive
	*tally.Site
	at     spot           // where it is declared to be, else where its pictures were taken
	near   float64        // meters from there that still are at the site; 0 for what holds for all
	views  []string       // what a visit usually has, in the order they are taken
	visits []*tally.Visit // with photos, newest first
}

// enoughSpots are as many of a site's newest pictures as tell where it is.
const enoughSpots = 6

func newSite(a *Archive, t *tally.Site) *site {
	s := &site{archive: a, Site: t}
	for i := len(t.Visits) - 1; i >= 0; i-- {
		if t.Visits[i].Photos.Len() > 0 {
			s.visits = append(s.visits, &t.Visits[i])
		}
	}
	k := card.Key{Pasture: t.Pasture, Site: t.Site}
	declared := a.Cards.Of(k)
	s.near = declared.Meters
	if s.near == 0 {
		s.near = a.Near
	}
	if s.views = usualViews(s.visits); len(s.views) == 0 {
		for _, v := range declared.Views {
			if v.Until == 0 {
				s.views = append(s.views, v.Name)
			}
		}
	}
	s.locate(k)
	return s
}

// locate finds out where the site is: its card or a waypoint tells, as it does
// when the record is verified, else the positions in its newest pictures.
func (s *site) locate(k card.Key) {
	if p, ok := s.archive.Cards.Position(k); ok {
		s.at = spot{lat: p.Latitude, lon: p.Longitude, known: true}
		return
	}
	var spots []spot
	for _, v := range s.visits {
		for f := range v.Photos.All() {
			if at := spotOf(f.At); at.known && len(spots) < enoughSpots {
				spots = append(spots, at)
			}
		}
	}
	s.at = middle(spots)
}

// usualViews are the views of the fullest of the last three visits, in the
// order in which they were taken.
func usualViews(visits []*tally.Visit) []string {
	var best []string
	for _, v := range visits[:min(3, len(visits))] {
		var views []string
		for _, f := range byTaken(v.Photos) {
			if f.View != tally.Untold && f.View != "" && !slices.Contains(views, f.View) {
				views = append(views, f.View)
			}
		}
		if len(views) > len(best) {
			best = views
		}
	}
	return best
}

func byTaken(list tally.Files) []tally.File {
	photos := list.List()
	slices.SortStableFunc(photos, func(a, b tally.File) int { return strings.Compare(a.Taken, b.Taken) })
	return photos
}

// label names the site for a person.
func (s *site) label() string {
	if s.Pasture == "" {
		return s.Site.Site
	}
	return strings.ReplaceAll(s.Pasture, "/", " / ") + " / " + s.Site.Site
}

// walked is the order in which sites were visited, year by year, newest first:
// only years with two sites or more, and only visits within two months of the
// card's season.
func walked(sites []*site, season time.Time) [][]*site {
	type stop struct {
		s    *site
		when string
	}
	years := map[int][]stop{}
	for _, s := range sites {
		for _, v := range s.visits {
			photos := byTaken(v.Photos)
			i := slices.IndexFunc(photos, func(f tally.File) bool { return len(f.Taken) >= 19 })
			if i < 0 {
				continue
			}
			day, err := time.Parse(time.DateOnly, photos[i].Taken[:10])
			if err != nil || day.Year() >= season.Year() || !near(day, season) {
				continue
			}
			years[day.Year()] = append(years[day.Year()], stop{s, photos[i].Taken[:19]})
		}
	}
	var order [][]*site
	for _, y := range slices.Backward(slices.Sorted(maps.Keys(years))) {
		stops := years[y]
		slices.SortStableFunc(stops, func(a, b stop) int { return strings.Compare(a.when, b.when) })
		var list []*site
		for _, st := range stops {
			if !slices.Contains(list, st.s) {
				list = append(list, st.s)
			}
		}
		if len(list) > 1 {
			order = append(order, list)
		}
	}
	return order
}

// near reports whether two days lie within two months of each other in the
// year.
func near(a, b time.Time) bool {
	d := a.YearDay() - b.YearDay()
	if d < 0 {
		d = -d
	}
	return min(d, 365-d) <= 60
}
