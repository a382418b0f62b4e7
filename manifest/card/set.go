package card

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"slices"
	"strconv"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/geo"
	"linecamp/manifest/layout"
	"linecamp/manifest/tally"
	"linecamp/manifest/within"
)

// The names of cards, in any case.
const (
	SiteFile    = "site.toml"
	PastureFile = "pasture.toml"
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
		s.Faults = append(s.Faults, Fault{t.Folder, 0, "", "the cards cannot be read: " + reason(err)})
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
		if a.File != b.File {
			return strings.Compare(a.File, b.File)
		}
		return a.Line - b.Line
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
	name := strings.ToLower(path.Base(f.Path))
	switch {
	case name == SiteFile && site != nil:
		if b, ok := r.bytes(f.Path); ok {
			c, faults := Decode(f.Path, b)
			r.Faults = append(r.Faults, faults...)
			r.own(*site, f.Path, c)
		}
	case strings.EqualFold(path.Dir(f.Path), layout.CardFolder) && strings.HasSuffix(name, ".toml") && name != PastureFile:
		if b, ok := r.bytes(f.Path); ok {
			c, faults := Decode(f.Path, b)
			r.Faults = append(r.Faults, faults...)
			r.named = append(r.named, named{f.Path, c})
		}
	case name == SiteFile:
		r.Faults = append(r.Faults, Fault{f.Path, 0, "", "this card lies in no site's folder; move it into the one it tells of, or under the site's name into the folder " + layout.CardFolder + " at the top"})
	case name == PastureFile:
		if b, ok := r.bytes(f.Path); ok {
			c, faults := Decode(f.Path, b)
			r.Faults = append(r.Faults, faults...)
			r.pastures = append(r.pastures, pasture{path.Dir(f.Path), f.Path, c})
		}
	case strings.HasSuffix(name, ".gpx"):
		in, err := r.root.Open(f.Path)
		if err != nil {
			r.Faults = append(r.Faults, Fault{f.Path, 0, "", "it cannot be read: " + reason(err)})
			return
		}
		defer in.Close()
		points, err := Waypoints(in)
		for _, w := range points {
			r.waypoints = append(r.waypoints, found{w, f.Path})
		}
		if err != nil {
			r.Faults = append(r.Faults, Fault{f.Path, 0, "", fmt.Sprintf("%v; save it again from the receiver as GPX", err)})
		}
	}
}

// own makes a card the site's own, if it has none yet.
func (r *reader) own(k Key, file string, c Card) {
	if r.files[k] != "" {
		r.Faults = append(r.Faults, Fault{file, 0, "", "this site has a card already (" + r.files[k] + "), which is used; keep one of them"})
		return
	}
	r.cards[k], r.files[k] = c, file
}

func (r *reader) bytes(file string) ([]byte, bool) {
	in, err := r.root.Open(file)
	if err != nil {
		r.Faults = append(r.Faults, Fault{file, 0, "", "it cannot be read: " + reason(err)})
		return nil, false
	}
	defer in.Close()
	var b bytes.Buffer
	if _, err := io.Copy(&b, io.LimitReader(in, mostBytes+1)); err != nil {
		r.Faults = append(r.Faults, Fault{file, 0, "", "it cannot be read: " + reason(err)})
		return nil, false
	}
	return b.Bytes(), true
}

// reason is what the system said, without the path that the fault names.
func reason(err error) string {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err.Error()
	}
	return err.Error()
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
		own := strings.TrimSuffix(path.Base(n.file), path.Ext(n.file))
		switch sites := called[plain(own)]; len(sites) {
		case 0:
			r.Faults = append(r.Faults, Fault{n.file, 0, "", "this card applies to nothing: no site is called " + clip(own) + "; name it after the site, or after pasture and site"})
		case 1:
			r.own(sites[0], n.file, n.card)
		default:
			r.Faults = append(r.Faults, Fault{n.file, 0, "", fmt.Sprintf("%d sites are called so, and this card is used for none; name it after pasture and site, as in %q",
				len(sites), sites[0].Pasture+" "+sites[0].Site+".toml")})
		}
	}
	served := make([]bool, len(r.pastures))
	names := map[string][]Key{} // what a waypoint may be called
	for i := range t.Sites {
		k := Key{t.Sites[i].Pasture, t.Sites[i].Site}
		for n, p := range r.pastures {
			if lies(&t.Sites[i], p.dir) {
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
			names[n] = append(names[n], k)
		}
	}
	for n, p := range r.pastures {
		if !served[n] {
			r.Faults = append(r.Faults, Fault{p.file, 0, "", "this card applies to nothing: no site lies below its folder; move it into the pasture's"})
		}
	}
	from := map[Key]found{}
	for _, w := range r.waypoints {
		n := plain(w.Name)
		sites := names[n]
		if len(sites) != 1 || n == plain("") && !strings.EqualFold(w.Name, n) {
			continue // no site's, or that of several: it tells nothing
		}
		k := sites[0]
		if r.cards[k].Position != nil {
			continue
		}
		if was, twice := from[k]; twice {
			if d := geo.Distance(was.Position, w.Position); d > samePoint {
				r.Faults = append(r.Faults, Fault{w.file, 0, "", fmt.Sprintf(
					"the waypoint %q"+liesOff+"%s"+fromThat+"%s, which is used; write the right position into the site's %s", clip(w.Name), geo.Meters.Distance(d), was.file, SiteFile)})
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

// samePoint is how far apart, in metres, two waypoints may be and still be the
// same stake measured twice.
const samePoint = 20

// lies reports whether a site has files below a folder.
func lies(s *tally.Site, dir string) bool {
	if dir == "." {
		return true
	}
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
