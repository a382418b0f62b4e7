package verify

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/card"
)

// Finding is something about what is there: a photo, a note, a card. What is
// not there is told by the years.
type Finding struct {
	Site    string `json:"site"`
	Pasture string `json:"pasture"`
	Object  string `json:"object"`
	Visit   string `json:"visit"` // "2019-06-21", "2019", or ""
	Kind    string `json:"kind"`
	// Paths are the files it is about, relative to the working folder.
	Paths []string `json:"paths"`
	Text  string   `json:"text"` // what was found, with the figure behind it
	Todo  string   `json:"todo"` // what to do about it
	// Note is worth knowing and asks for nothing.
	Note bool `json:"note,omitempty"`
	// Why is the explanation a person put on file for all of the paths.
	Why string `json:"why,omitempty"`

	far []float64 // the distances in Text, as they stand there
}

// What Finding.Kind can be.
const (
	FoundBroken    = "broken"        // a photo cut short, or damaged in its structure
	FoundEmpty     = "empty"         // a note without anything in it
	FoundCard      = "card"          // a fault in a card or a GPX file
	FoundDeclared  = "declared"      // a site declared to be where its photos were not taken
	FoundMisdated  = "misdated"      // some photos of a visit were taken at another time
	FoundUndated   = "undated"       // photos of no known day
	FoundSwapped   = "swapped"       // two visits have each other's photos
	FoundElsewhere = "elsewhere"     // taken too far from the site
	FoundTwice     = "twice"         // the same bytes under two sites or years
	FoundDouble    = "double"        // a folder that doubles the one beside it
	FoundClock     = "clock"         // one clock error through a whole visit
	FoundScan      = "scan"          // scanned or exported later
	FoundSeason    = "out of season" // a visit far from its season
	FoundLate      = "late"          // a visit that closes a gap
)

// Wants reports whether the finding asks a person for something.
func (f Finding) Wants() bool { return !f.Note && f.Why == "" }

// Findings looks at every visit's files. years are those of the same input. A
// false alarm costs more than a late one: where the evidence may have an
// innocent cause, nothing is said.
func Findings(in YearsInput, years []Year) []Finding {
	x := &finder{in: in, places: places(in), why: reasons(in)}
	where, order := x.twins()
	for i := range in.Sites {
		s := &in.Sites[i]
		x.broken(s)
		x.misplaced(s)
		x.visits(s)
		x.undated(s)
		x.outOfSeason(s)
	}
	x.broken(&in.Unfiled)
	for _, d := range in.Doubles {
		x.add(&SiteItems{}, Finding{Kind: FoundDouble, Note: true, Paths: []string{d.Folder}, Text: d.Text()})
	}
	x.swapped()
	x.settleMoved()
	x.twice(where, order)
	for _, y := range years {
		if y.Late != 0 {
			x.add(&SiteItems{Site: y.Site, Pasture: y.Pasture, Object: y.Object}, Finding{Visit: fmt.Sprint(y.Year), Kind: FoundLate, Note: true,
				Text: fmt.Sprintf("the visit of %d was due in %d; it closes the gap", y.Year, y.Late)})
		}
	}
	slices.SortStableFunc(x.found, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(a.Pasture, b.Pasture), cmp.Compare(a.Site, b.Site), cmp.Compare(a.Visit, b.Visit))
	})
	return x.found
}

// CardFindings makes findings of the faults in cards.
func CardFindings(faults []card.Fault) (all []Finding) {
	for _, f := range faults {
		all = append(all, Finding{Kind: FoundCard, Paths: []string{f.File}, Text: f.String(), far: f.Distances(), Todo: "What the card says otherwise is used, and every photo is kept meanwhile."})
	}
	return all
}

func rank(f Finding) int {
	return slices.Index([]string{FoundBroken, FoundSwapped, FoundTwice, FoundElsewhere, FoundMisdated, FoundUndated, FoundEmpty, FoundCard, FoundDeclared,
		FoundDouble, FoundClock, FoundSeason, FoundLate, FoundScan}, f.Kind)
}

type finder struct {
	in     YearsInput
	places []place           // of each site
	why    map[string]string // path → the reason on file for it
	found  []Finding
	dates  []strange       // visits whose photos are of another day
	moved  []moved         // and of another place
	aside  map[string]bool // photos that lie in their place as well
}

// add puts a finding on the list, with the explanation on file.
func (x *finder) add(s *SiteItems, f Finding) {
	f.Site, f.Pasture, f.Object = s.Site, s.Pasture, s.Object
	if f.Paths == nil {
		f.Paths = []string{}
	}
	for i, p := range f.Paths {
		why, ok := x.why[p]
		if !ok {
			f.Why = ""
			break
		}
		if i == 0 {
			f.Why = why
		}
	}
	x.found = append(x.found, f)
}

// reasons are those on file for single files, whichever site each is filed under:
// a finding may be about the files of two.
func reasons(in YearsInput) map[string]string {
	why := map[string]string{}
	note := func(s SiteItems) {
		for _, d := range s.Decisions {
			if d.What == manifest.Explained && d.Path != "" {
				why[d.Path] = d.Why
			}
		}
	}
	note(in.Unfiled)
	for _, s := range in.Sites {
		note(s)
	}
	return why
}

const brokenTodo = "If the card still has it, file it again under the same name; linecamp restore brings back an earlier version, if there is one."

// broken finds photos whose structure is at fault, and notes that are empty.
func (x *finder) broken(s *SiteItems) {
	for _, it := range s.Items {
		switch f := it.File; {
		case f == nil:
		case it.Kind == manifest.KindPhoto && f.Fault != "":
			x.add(s, Finding{Visit: it.Visit, Kind: FoundBroken, Paths: []string{it.Path}, Text: "this photo is not whole: " + f.Fault,
				Todo: brokenTodo})
		case it.Kind == manifest.KindPhoto && x.in.Undecodable[f.SHA256] != "":
			x.add(s, Finding{Visit: it.Visit, Kind: FoundBroken, Paths: []string{it.Path}, Text: "this photo does not decode: " + x.in.Undecodable[f.SHA256],
				Todo: brokenTodo})
		case it.Shared: // it is told of once, where it is filed
		case it.Kind == manifest.KindNote && (f.Size == 0 || f.Blank):
			x.add(s, Finding{Visit: it.Visit, Kind: FoundEmpty, Paths: []string{it.Path}, Text: fmt.Sprintf("this note has nothing in it (%s)", Count(f.Size, "byte")),
				Todo: "If it was written on paper or another computer, put that in its place."})
		}
	}
}

// visits looks at the photos of each visit together.
func (x *finder) visits(s *SiteItems) {
	photos := map[string][]Item{}
	var order []string
	for _, it := range s.Items {
		if it.File == nil || it.Kind != manifest.KindPhoto || it.Visit == "" || x.aside[it.Path] {
			continue
		}
		if photos[it.Visit] == nil {
			order = append(order, it.Visit)
		}
		photos[it.Visit] = append(photos[it.Visit], it)
	}
	slices.Sort(order)
	for _, v := range order {
		x.otherDay(s, v, photos[v])
		x.elsewhere(s, v, photos[v])
	}
}

// habitDays are the visit days from which a season is a habit to hold others
// against.
const habitDays = 5

// outOfSeason finds visits far from every season of the site, where the season
// they were for has no other visit.
func (x *finder) outOfSeason(s *SiteItems) {
	t := newTimetable(s, byYear(*s), x.in.Now)
	most := x.in.seasonDays()
	days := visitDays(s.Items)
	for _, d := range days {
		if d.After(x.in.Now) || len(s.Card.Expect) == 0 && t.close(d, most) {
			continue
		}
		best, least := window{}, -1
		for y := d.Year() - 1; y <= d.Year()+1; y++ {
			if len(declaredSeasons(t.card, y)) == 0 && (len(days) < habitDays || !t.seasons[0].known) {
				continue
			}
			for _, w := range t.others(y, d) {
				if n := w.from(d); least < 0 || n < least {
					best, least = w, n
				}
			}
		}
		if least <= most || slices.ContainsFunc(days, func(o time.Time) bool { return best.from(o) <= most }) {
			continue
		}
		opens, closes := best.days()
		x.add(s, Finding{Visit: d.Format(time.DateOnly), Kind: FoundSeason, Note: true,
			Text: fmt.Sprintf("the visit lies %d days outside the season (%s to %s)", least, opens, closes),
			Todo: "Pictures of another season are hard to compare; say so in the notes."})
	}
}

func declaredSeasons(c *card.Card, year int) (all []card.Season) {
	for _, e := range c.Expected(year) {
		all = append(all, e.Seasons...)
	}
	return all
}

func pathsOf(items []Item) (paths []string) {
	for _, it := range items {
		paths = append(paths, it.Path)
	}
	slices.Sort(paths)
	return paths
}

// label names a visit for a person: "Windmill / Stake 3, 2019-06-21".
func (s *SiteItems) label(visit string) string {
	return strings.TrimSuffix(Site{Object: s.Object, Site: s.Site, Pasture: s.Pasture}.Label()+", "+visit, ", ")
}
