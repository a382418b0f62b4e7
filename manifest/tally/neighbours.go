package tally

import (
	"sort"
	"strings"
)

// What a path cannot say alone, its neighbours say. A folder is established as
// a site by
//
//   - a site.toml in it, a photo in a date folder below it, or a photo that
//     fits a pattern: always;
//   - a photo below a year that is the top folder, or photos whose own names
//     are dated: unless a site lies further below, as under a pasture;
//   - with no date in any name, photos whose EXIF tells their date: where the
//     folder is at least two levels deep, as {pasture}/{site} is, or other
//     sites stand beside it at the top, and no site lies above or below it.
//
// Notes, cards and whatever else never make a site; they go to the nearest
// established one above them. What finds none is unfiled. A photo that waits
// and a folder that could not be listed count as evidence by their path, so
// that a site does not fall apart while some of it is out of reach.

// A home is an established site's folder.
type home struct{ pasture, site, base string }

// Folders are read in no certain order, so what files say is only gathered while
// they are, and weighed once all of it is there.
type neighbours struct {
	made  map[string]*home    // by the site's folder
	named map[[2]string]*home // by pasture and site
	above map[string]bool     // folders that have a site below

	// Folders that are sites, and ones that may be, by the site's folder.
	sure, weak, clock map[string]*folder

	dates *dates
}

func newNeighbours() *neighbours {
	return &neighbours{map[string]*home{}, map[[2]string]*home{}, map[string]bool{}, map[string]*folder{}, map[string]*folder{}, map[string]*folder{}, newDates()}
}

// meet establishes the sites of everything that was read.
func (n *neighbours) meet(l *Layout, unlisted []string) {
	for _, dir := range unlisted {
		switch f := l.folder(dir); f.how {
		case byDateBelow:
			first(n.sure, f)
		case byDateAbove:
			first(n.weak, f)
		}
	}
	for _, f := range n.sure {
		n.establish(f)
	}
	for _, root := range deepestFirst(n.weak) {
		if !n.above[root] {
			n.establish(n.weak[root])
		}
	}
	n.byClock(n.clock)
}

// first keeps a folder of a site: of several the first in the order of paths.
func first(m map[string]*folder, f *folder) {
	if was := m[f.root]; was == nil || f.path < was.path {
		m[f.root] = f
	}
}

// evidence takes down what one file says of its folder, which lies at dir.
func (n *neighbours) evidence(dir string, s *sighting) {
	at := s.at
	n.dates.see(s)
	switch {
	case s.form.picture() && at.how == byDateBelow:
		first(n.sure, at)
	case s.form.picture() && (at.how == byDateAbove || s.flat):
		first(n.weak, at)
	case s.form.picture() && at.how == byNothing && !at.fixed && at.site != "" && at.odd == 0:
		if t := s.Taken; t != "" && s.reason == "" && at.l.cal.validYear(number(t[:4])) {
			first(n.clock, at)
		}
	case s.form == formCard && at.root == at.path && at.site != "" && strings.EqualFold(s.Path[nameAt(s.Path):], siteCard):
		first(n.sure, at)
	case s.form == formCard && strings.EqualFold(s.Path[nameAt(s.Path):], pastureCard):
		n.above[dir] = true
	}
}

// byClock establishes sites by EXIF alone.
func (n *neighbours) byClock(found map[string]*folder) {
	var top []*folder
	for _, root := range deepestFirst(found) {
		f := found[root]
		switch {
		case n.above[root] || n.nearest(f.path) != nil:
		case strings.Contains(root, "/"):
			n.establish(f)
		default:
			top = append(top, f)
		}
	}
	beside := false
	for root := range n.made {
		beside = beside || !strings.Contains(root, "/")
	}
	for _, f := range top {
		if beside && !n.above[f.root] {
			n.establish(f)
		}
	}
}

// establish makes a folder's site one. Two folders of one pasture and name,
// as below two years, are one site.
func (n *neighbours) establish(f *folder) {
	if n.made[f.root] != nil {
		return
	}
	key := [2]string{f.pasture, f.site}
	h := n.named[key]
	if h == nil {
		h = &home{pasture: f.pasture, site: f.site, base: f.base}
		n.named[key] = h
	} else if h.base != f.base {
		h.base = ""
	}
	n.made[f.root] = h
	for p := parent(f.root); p != ""; p = parent(p) {
		n.above[p] = true
	}
}

// home returns the site that the files of a folder belong to, nil if none.
func (n *neighbours) home(at *folder) *home {
	if !at.settled {
		at.settled = true
		h, like := n.made[at.root], n.named[[2]string{at.pasture, at.site}]
		switch {
		case at.how != byNothing && h != nil:
			at.home = h
		case at.how == byDateAbove && like != nil && like.base == "":
			at.home = like // a year of the site of which there is only a note
		case at.how == byNothing:
			at.home = n.nearest(at.path)
		default:
			at.home = n.nearest(parent(at.root))
		}
	}
	return at.home
}

// nearest returns the site of a folder or of the nearest one above it.
func (n *neighbours) nearest(dir string) *home {
	for ; dir != ""; dir = parent(dir) {
		if h := n.made[dir]; h != nil {
			return h
		}
	}
	return nil
}

func parent(path string) string { return path[:max(nameAt(path)-1, 0)] }

// deepestFirst returns the folders' paths, those with most levels first.
func deepestFirst(m map[string]*folder) []string {
	paths := make([]string, 0, len(m))
	for p := range m {
		paths = append(paths, p)
	}
	sort.Slice(paths, func(i, j int) bool {
		a, b := strings.Count(paths[i], "/"), strings.Count(paths[j], "/")
		if a != b {
			return a > b
		}
		return paths[i] < paths[j]
	})
	return paths
}
