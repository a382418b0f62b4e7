package gather

import (
	"slices"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/card"
	"linecamp/manifest/geo"
	"linecamp/manifest/tally"
	"linecamp/manifest/within"
	"linecamp/verify"
)

// Where the bytes of an item are.
type Where int

// The places, best first.
const (
	InWorking Where = iota // in the working folder
	OnCopy                 // no longer in the working folder, good on a copy
	Nowhere                // recorded once, and no good bytes known anywhere
)

// Item is one file that a site has, or once had.
type Item struct {
	Path  string // relative to the working folder
	View  string
	Kind  manifest.Kind
	Visit string // "2019-06-21", "2019", or "" for a file of no visit
	Where Where
	// Of is the object it is filed under, where that is another than its site's:
	// one that the site took over.
	Of string
	// File is what the tally read of a file in the working folder; nil for one
	// that is not there.
	File *tally.File
	// Shared: a note that serves several sites from a folder above them.
	Shared bool
}

// SiteItems are a site's items, with what people decided about it. There may be a
// thousand of a million files in it: those of the working folder stay packed, and
// [SiteItems.List] spells them out for as long as the list is held.
type SiteItems struct {
	Site, Pasture, Object string
	Extra                 []Item // items that are not packed: what the working folder has no longer
	Decisions             []manifest.Decision
	Card                  card.Card       // what is declared about the site
	Position              *geo.Position   // where it is declared to be; nil where it is not
	Formers               []verify.Former // sites that it took over; its items say which are of them

	packed  []packed
	spelled []Item // as List has them, where Input.Spell kept them
}

// packed are items of the working folder as the tally has them.
type packed struct {
	files  tally.Files
	shared bool
	visit  string // of shared notes
	of     string // as Item.Of
}

// List spells out the site's items. The list is the caller's own.
func (s *SiteItems) List() []Item {
	if s.spelled != nil {
		return slices.Clone(s.spelled)
	}
	all := make([]Item, 0, s.len())
	for _, p := range s.packed {
		files := p.files.List()
		for i := range files {
			f := &files[i]
			it := Item{Path: f.Path, View: f.View, Kind: f.Kind, Visit: f.Visit, File: f, Of: p.of, Shared: p.shared}
			if p.shared {
				it.View, it.Visit = "", p.visit
			}
			all = append(all, it)
		}
	}
	return append(all, s.Extra...)
}

func (s *SiteItems) len() int {
	n := len(s.Extra)
	for _, p := range s.packed {
		n += p.files.Len()
	}
	return n
}

// mostSpelled is how many items Spell keeps, of some 400 bytes each.
const mostSpelled = 20_000

// Spell keeps the lists of all sites spelled out, where they are not many: each is asked
// for several times. What is added to a site afterwards is not in its list.
func (in *Input) Spell() {
	n := 0
	for i := range in.Sites {
		n += in.Sites[i].len()
	}
	if n > mostSpelled {
		return
	}
	for i := range in.Sites {
		in.Sites[i].spelled = in.Sites[i].List()
	}
}

// Input is what the years are judged by. It is plain data: the same input
// gives the same years.
type Input struct {
	Now       time.Time // in the ranch's own time zone
	Sites     []SiteItems
	Tolerance Tolerance
	Units     geo.Units // what drafts of cards tell distances in
	// Unfiled are the files of no site, which are judged by themselves only: photos
	// that lie anywhere, and notes in a pasture's or a year's folder.
	Unfiled SiteItems
	// Doubles are folders that hold again what the one beside them has.
	Doubles []tally.Double
	// Undecodable are the contents that a full decode found at fault, and how.
	Undecodable map[manifest.Digest]string
}

func (s *SiteItems) Accepted(path string) bool {
	return slices.ContainsFunc(s.Decisions, func(d manifest.Decision) bool {
		return d.What == manifest.Accepted && d.Path != "" && within.Path(path, d.Path)
	})
}

// began is the day of the first visit, or the first day of the year it is known
// by; "" where there is none.
func (s *SiteItems) Began() string {
	first := ""
	for _, it := range s.List() {
		if _, ok := verify.YearOf(it.Visit); ok && (first == "" || it.Visit < first) {
			first = it.Visit
		}
	}
	if len(first) == 4 {
		first += "-01-01"
	}
	return first
}

// label names a visit for a person: "Windmill / Stake 3, 2019-06-21".
func (s *SiteItems) Label(visit string) string {
	return strings.TrimSuffix(verify.Site{Object: s.Object, Site: s.Site, Pasture: s.Pasture}.Label()+", "+visit, ", ")
}
