// Package findings says what is odd about the files that are there: a photo in the
// wrong place (place.go) or of another day (date.go), the same photo twice (twice.go),
// two sites that may be one stake (alike.go). Call [Of] with what linecamp/verify/gather
// brought together and the years that linecamp/verify/years made of it; [OfCards] for
// the faults in cards, and [Alikes] for the pairs of sites.
package findings

import (
	"cmp"
	"fmt"
	"slices"

	"linecamp/manifest"
	"linecamp/manifest/card"
	"linecamp/manifest/words"
	"linecamp/verify"
	"linecamp/verify/gather"
	"linecamp/verify/years"
)

// Of looks at every visit's files. years are those of the same input. A
// false alarm costs more than a late one: where the evidence may have an
// innocent cause, nothing is said.
func Of(in gather.Input, years []verify.Year) []verify.Finding {
	x := &finder{in: in, why: reasons(in)}
	where, order := x.twins(x.look())
	for i := range in.Sites {
		s := &in.Sites[i]
		items := s.List()
		x.broken(s, items)
		x.misplaced(s)
		x.visits(s, items)
		x.undated(s, items)
		x.outOfSeason(s, items)
	}
	x.broken(&in.Unfiled, in.Unfiled.List())
	for _, d := range in.Doubles {
		x.add(&gather.SiteItems{}, verify.Finding{Kind: verify.FoundDouble, Note: true, Paths: []string{d.Folder}, Text: d.Text()})
	}
	x.swapped()
	x.settleMoved()
	x.twice(where, order)
	for _, y := range years {
		if y.Late != 0 {
			x.add(&gather.SiteItems{Site: y.Site, Pasture: y.Pasture, Object: y.Object}, verify.Finding{Visit: fmt.Sprint(y.Year), Kind: verify.FoundLate, Note: true,
				Text: fmt.Sprintf("the visit of %d was due in %d; it closes the gap", y.Year, y.Late)})
		}
	}
	slices.SortStableFunc(x.found, func(a, b verify.Finding) int {
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(a.Pasture, b.Pasture), cmp.Compare(a.Site, b.Site), cmp.Compare(a.Visit, b.Visit))
	})
	return x.found
}

// OfCards makes findings of the faults in cards.
func OfCards(faults []card.Fault) (all []verify.Finding) {
	for _, f := range faults {
		all = append(all, verify.Finding{Kind: verify.FoundCard, Paths: []string{f.File}, Text: f.String(), Distances: f.Distances(), Todo: "linecamp uses the rest of the card, and keeps every photo meanwhile."})
	}
	return all
}

func rank(f verify.Finding) int {
	return slices.Index([]string{verify.FoundBroken, verify.FoundSwapped, verify.FoundTwice, verify.FoundElsewhere, verify.FoundMisdated, verify.FoundUndated, verify.FoundEmpty, verify.FoundCard, verify.FoundDeclared,
		verify.FoundDouble, verify.FoundClock, verify.FoundSeason, verify.FoundLate, verify.FoundScan}, f.Kind)
}

type finder struct {
	in     gather.Input
	places []place           // of each site
	why    map[string]string // path → the reason on file for it
	found  []verify.Finding
	dates  []strange       // visits whose photos are of another day
	moved  []moved         // and of another place
	aside  map[string]bool // photos that lie in their place as well
}

// look finds out where each site is, and which photos' bytes are there twice, in one
// pass over the files.
func (x *finder) look() gather.Repeated {
	return gather.Twice(func(yield func(manifest.Digest) bool) {
		for i := range x.in.Sites {
			s := &x.in.Sites[i]
			items := s.List()
			x.places = append(x.places, placeOf(&x.in, s, items, "", s.Position))
			for _, it := range items {
				if isPhoto(it) && !yield(it.File.SHA256) {
					return
				}
			}
		}
	})
}

func isPhoto(it gather.Item) bool {
	return it.File != nil && it.Kind == manifest.KindPhoto && it.File.Size > 0
}

// add puts a finding on the list, with the explanation on file.
func (x *finder) add(s *gather.SiteItems, f verify.Finding) {
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
func reasons(in gather.Input) map[string]string {
	why := map[string]string{}
	note := func(s gather.SiteItems) {
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

const brokenTodo = "If the camera card still has the photo, file it again under the same name. If a copy has an earlier version of it, linecamp restore brings that back."

// broken finds photos whose structure is at fault, and notes that are empty.
func (x *finder) broken(s *gather.SiteItems, items []gather.Item) {
	for _, it := range items {
		switch f := it.File; {
		case f == nil:
		case it.Kind == manifest.KindPhoto && f.Fault != "":
			x.add(s, verify.Finding{Visit: it.Visit, Kind: verify.FoundBroken, Paths: []string{it.Path}, Text: f.Fault,
				Todo: brokenTodo})
		case it.Kind == manifest.KindPhoto && x.in.Undecodable[f.SHA256] != "":
			x.add(s, verify.Finding{Visit: it.Visit, Kind: verify.FoundBroken, Paths: []string{it.Path}, Text: "this photo does not decode: " + x.in.Undecodable[f.SHA256],
				Todo: brokenTodo})
		case it.Shared: // it is told of once, where it is filed
		case it.Kind == manifest.KindNote && (f.Size == 0 || f.Blank):
			x.add(s, verify.Finding{Visit: it.Visit, Kind: verify.FoundEmpty, Paths: []string{it.Path}, Text: fmt.Sprintf("this note has nothing in it (%s)", words.Count(f.Size, "byte")),
				Todo: "If the note was written on paper or on another computer, put that in its place."})
		}
	}
}

// visits looks at the photos of each visit together.
func (x *finder) visits(s *gather.SiteItems, items []gather.Item) {
	photos := map[string][]gather.Item{}
	var order []string
	for _, it := range items {
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

// outOfSeason finds visits far from every season of the site.
func (x *finder) outOfSeason(s *gather.SiteItems, items []gather.Item) {
	for _, off := range years.OutOfSeason(s, items, x.in.Now, x.in.SeasonDays()) {
		x.add(s, verify.Finding{Visit: off.Visit, Kind: verify.FoundSeason, Note: true,
			Text: fmt.Sprintf("the visit lies %d days outside the season (%s to %s)", off.Days, off.Opens, off.Closes),
			Todo: "Pictures of another season are hard to compare; say so in the notes."})
	}
}

func pathsOf(items []gather.Item) (paths []string) {
	for _, it := range items {
		paths = append(paths, it.Path)
	}
	slices.Sort(paths)
	return paths
}
