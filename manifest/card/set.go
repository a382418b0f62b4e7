package card

import (
	"cmp"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/geo"
	"linecamp/manifest/layout"
	"linecamp/manifest/names"
	"linecamp/manifest/tally"
	"linecamp/manifest/within"
	"linecamp/manifest/words"
)

// The names of cards, in any case.
const (
	SiteFile    = layout.SiteCard
	PastureFile = layout.PastureCard
)

// Key names a site as the tally does.
type Key struct{ Pasture, Site string }

// Set is every card of a working folder.
type Set struct {
	cards     map[Key]Card
	files     map[Key]string // each site's own card
	positions map[Key]geo.Position
	Faults    []Fault // by file and line
}

// Of is what is declared about a site, its own card over its pasture's. It is
// empty for a site without cards, and on a nil Set.
func (s *Set) Of(k Key) Card {
	if s == nil {
		return Card{}
	}
	return s.cards[k]
}

// File is the path of a site's own card; "" where it has none.
func (s *Set) File(k Key) string { return s.files[k] }

// Position is where a site is: its card tells, else a waypoint of its name.
func (s *Set) Position(k Key) (geo.Position, bool) {
	if s == nil {
		return geo.Position{}, false
	}
	p, ok := s.positions[k]
	return p, ok
}

// Read reads the cards and GPX files that a tally found, from its folder. It
// never fails: what cannot be read is a fault of the set.
func Read(t *tally.Result) *Set {
	s := &Set{cards: map[Key]Card{}, files: map[Key]string{}, positions: map[Key]geo.Position{}}
	root, err := os.OpenRoot(t.Folder)
	if err != nil {
		s.Faults = append(s.Faults, Fault{t.Folder, 0, "", "the cards cannot be read: " + words.Reason(err)})
		return s
	}
	defer root.Close()
	r := &reader{Set: s, root: root}
	for i := range t.Sites {
		for f := range t.Sites[i].Files() {
			r.file(f, &Key{t.Sites[i].Pasture, t.Sites[i].Site})
		}
	}
	for f := range t.Unfiled.All() {
		r.file(f, nil)
	}
	r.settle(t)
	slices.SortStableFunc(s.Faults, func(a, b Fault) int {
		return cmp.Or(strings.Compare(a.File, b.File), a.Line-b.Line)
	})
	return s
}

type reader struct {
	*Set
	root      *os.Root
	pastures  []pasture
	named     []named
	waypoints []found
}

// pasture is a pasture's card, which serves the sites with files below dir.
type pasture struct {
	dir, file string
	card      Card
}

// named is a card in the folder for cards, which serves the site of its name.
type named struct {
	file string
	card Card
}

// found is a waypoint with the file that has it.
type found struct {
	Waypoint
	file string
}

// file takes in one file of the tally, if it is a card. site is the one it
// belongs to, or nil.
func (r *reader) file(f tally.File, site *Key) {
	if f.Kind != manifest.KindCard {
		return
	}
	name := strings.ToLower(names.Base(f.Path))
	switch {
	case name == SiteFile && site != nil:
		if c, ok := r.card(f.Path); ok {
			r.own(*site, f.Path, c)
		}
	case strings.EqualFold(names.Parent(f.Path), layout.CardFolder) && strings.HasSuffix(name, ".toml") && name != PastureFile:
		if c, ok := r.card(f.Path); ok {
			r.named = append(r.named, named{f.Path, c})
		}
	case name == SiteFile:
		r.fault(f.Path, "this card lies in no site's folder; move it into the one it tells of, or under the site's name into the folder "+layout.CardFolder+" at the top")
	case name == PastureFile:
		if c, ok := r.card(f.Path); ok {
			r.pastures = append(r.pastures, pasture{names.Parent(f.Path), f.Path, c})
		}
	case strings.HasSuffix(name, ".gpx"):
		in, err := r.root.Open(f.Path)
		if err != nil {
			r.fault(f.Path, "it cannot be read: "+words.Reason(err))
			return
		}
		defer in.Close()
		points, err := Waypoints(in)
		for _, w := range points {
			r.waypoints = append(r.waypoints, found{w, f.Path})
		}
		if err != nil {
			r.fault(f.Path, fmt.Sprintf("%v; save it again from the receiver as GPX", err))
		}
	}
}

// fault notes what is wrong with a whole file.
func (r *reader) fault(file, text string) { r.Faults = append(r.Faults, Fault{File: file, Text: text}) }

// own makes a card the site's own, if it has none yet.
func (r *reader) own(k Key, file string, c Card) {
	if r.files[k] != "" {
		r.fault(file, "this site has a card already ("+r.files[k]+"), which is used; keep one of them")
		return
	}
	r.cards[k], r.files[k] = c, file
}

// card reads a card; ok is false where its file cannot be read.
func (r *reader) card(file string) (c Card, ok bool) {
	in, err := r.root.Open(file)
	var b []byte
	if err == nil {
		defer in.Close()
		b, err = io.ReadAll(io.LimitReader(in, mostBytes+1))
	}
	if err != nil {
		r.fault(file, "it cannot be read: "+words.Reason(err))
		return c, false
	}
	c, faults := Decode(file, b)
	r.Faults = append(r.Faults, faults...)
	return c, true
}

// settle brings pastures' cards and waypoints to their sites.
func (r *reader) settle(t *tally.Result) {
	// The nearest pasture's card counts first.
	slices.SortStableFunc(r.pastures, func(a, b pasture) int { return len(b.dir) - len(a.dir) })
	called := map[string][]Key{} // what a card in the folder for cards may be called
	for i := range t.Sites {
		k := Key{t.Sites[i].Pasture, t.Sites[i].Site}
		for _, n := range NamesOf(k) {
			called[n] = append(called[n], k)
		}
	}
	for _, n := range r.named {
		own := names.Stem(names.Base(n.file))
		switch sites := called[plain(own)]; len(sites) {
		case 0:
			r.fault(n.file, "this card applies to nothing: no site is called "+names.Clip(own)+"; name it after the site, or after pasture and site")
		case 1:
			r.own(sites[0], n.file, n.card)
		default:
			r.fault(n.file, fmt.Sprintf("%d sites are called so, and this card is used for none; name it after pasture and site, as in %q",
				len(sites), sites[0].Pasture+" "+sites[0].Site+".toml"))
		}
	}
	served := make([]bool, len(r.pastures))
	wayNames := map[string][]Key{} // what a waypoint may be called
	for i := range t.Sites {
		k := Key{t.Sites[i].Pasture, t.Sites[i].Site}
		for n, p := range r.pastures {
			if hasFiles(&t.Sites[i], p.dir) {
				served[n] = true
				r.cards[k] = r.cards[k].Under(p.card)
			}
		}
		c := r.cards[k]
		if c.Position != nil {
			r.positions[k] = *c.Position
		}
		own := NamesOf(k)
		if c.Name != "" {
			own = append(own, plain(c.Name), plain(k.Pasture+" "+c.Name))
		}
		slices.Sort(own)
		for _, n := range slices.Compact(own) {
			wayNames[n] = append(wayNames[n], k)
		}
	}
	for n, p := range r.pastures {
		if !served[n] {
			r.fault(p.file, "this card applies to nothing: no site lies below its folder; move it into the pasture's")
		}
	}
	from := map[Key]found{}
	for _, w := range r.waypoints {
		n := plain(w.Name)
		sites := wayNames[n]
		if len(sites) != 1 || n == plain("") && !strings.EqualFold(w.Name, n) {
			continue // no site's, or that of several: it tells nothing
		}
		k := sites[0]
		if r.cards[k].Position != nil {
			continue
		}
		if was, twice := from[k]; twice {
			if d := geo.Distance(was.Position, w.Position); d > samePoint {
				r.fault(w.file, fmt.Sprintf(
					"the waypoint %q"+liesOff+"%s"+fromThat+"%s, which is used; write the right position into the site's %s", names.Clip(w.Name), geo.Meters.Distance(d), was.file, SiteFile))
			}
			continue
		}
		from[k] = w
		r.positions[k] = w.Position
	}
}

// What stands around the distance in a fault.
const (
	liesOff  = " lies "
	fromThat = " from the one of that name in "
)

// Distances are those that the fault's text tells, in meters.
func (f Fault) Distances() []float64 {
	_, rest, _ := strings.Cut(f.Text, liesOff)
	said, _, ok := strings.Cut(rest, fromThat)
	number, unit, _ := strings.Cut(said, " ")
	d, err := strconv.ParseFloat(number, 64)
	if !ok || err != nil {
		return nil
	}
	if unit == "km" {
		d *= 1000
	}
	return []float64{d}
}

// NamesOf are the names that a card or a waypoint of a site may have, without what
// people write differently: the site's own, and that of its pasture before it.
func NamesOf(k Key) []string {
	own := []string{plain(k.Site), plain(k.Pasture + " " + k.Site)}
	slices.Sort(own)
	return slices.Compact(own)
}

// samePoint is how far apart, in meters, two waypoints may be and still be the
// same stake measured twice.
const samePoint = 20

// hasFiles reports whether a site has files below a folder.
func hasFiles(s *tally.Site, dir string) bool {
	for f := range s.Files() {
		if within.Below(f.Path, dir) {
			return true
		}
	}
	return false
}

// plain is a name without what people write differently: case, marks, and what
// stands between words.
func plain(s string) string {
	return manifest.Slug("", s, func(string) bool { return false })
}
