package tally

import (
	"sort"
	"strings"

	"linecamp/manifest/dates"
	"linecamp/manifest/layout"
	"linecamp/manifest/names"
	"linecamp/manifest/walk"
)

// What a path cannot say alone, its neighbors say. A folder is established as
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
type neighbors struct {
	made  map[string]*home    // by the site's folder
	named map[[2]string]*home // by pasture and site
	above map[string]bool     // folders that have a site below

	// Folders that are sites, and ones that may be, by the site's folder.
	sure, weak, clock map[string]*layout.Folder

	dates *dates.Evidence

	at *layout.Folder // the folder that home was asked of last, and its answer
	of *home
}

func newNeighbors() *neighbors {
	return &neighbors{made: map[string]*home{}, named: map[[2]string]*home{}, above: map[string]bool{}, dates: dates.NewEvidence(),
		sure: map[string]*layout.Folder{}, weak: map[string]*layout.Folder{}, clock: map[string]*layout.Folder{}}
}

// meet establishes the sites of everything that was read.
func (n *neighbors) meet(l *layout.Layout, unlisted []string) {
	for _, dir := range unlisted {
		switch f := l.Folder(dir); f.How {
		case layout.ByDateBelow:
			first(n.sure, f)
		case layout.ByDateAbove:
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
func first(m map[string]*layout.Folder, f *layout.Folder) {
	if was := m[f.Root]; was == nil || f.Path < was.Path {
		m[f.Root] = f
	}
}

// evidence takes down what one file says of its folder, which lies at dir.
func (n *neighbors) evidence(l *layout.Layout, dir string, f *walk.File, said layout.Said) {
	at, picture, taken := said.At, said.Form.IsPicture(), f.Taken
	if f.Reason != "" {
		taken = ""
	}
	unsure := at.Unsure
	if said.When != &at.When {
		unsure = "" // the file's own name dates it
	}
	n.dates.See(said.When, dates.Site{Pasture: at.Pasture, Name: at.Site}, unsure, taken)
	switch {
	case picture && at.How == layout.ByDateBelow:
		first(n.sure, at)
	case picture && (at.How == layout.ByDateAbove || said.IsFlat):
		first(n.weak, at)
	case picture && at.CanBeSite():
		if taken != "" && l.IsYear(dates.Number(taken[:4])) {
			first(n.clock, at)
		}
	case said.Form == layout.Card && at.Root == at.Path && at.Site != "" && strings.EqualFold(f.Name, layout.SiteCard):
		first(n.sure, at)
	case said.Form == layout.Card && strings.EqualFold(f.Name, layout.PastureCard):
		n.above[dir] = true
	}
}

// byClock establishes sites by EXIF alone.
func (n *neighbors) byClock(found map[string]*layout.Folder) {
	var top []*layout.Folder
	for _, root := range deepestFirst(found) {
		f := found[root]
		switch {
		case n.above[root] || n.nearest(f.Path) != nil:
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
		if beside && !n.above[f.Root] {
			n.establish(f)
		}
	}
}

// establish makes a folder's site one. Two folders of one pasture and name,
// as below two years, are one site.
func (n *neighbors) establish(f *layout.Folder) {
	if n.made[f.Root] != nil {
		return
	}
	key := [2]string{f.Pasture, f.Site}
	h := n.named[key]
	if h == nil {
		h = &home{pasture: f.Pasture, site: f.Site, base: f.Base}
		n.named[key] = h
	} else if h.base != f.Base {
		h.base = ""
	}
	n.made[f.Root] = h
	for p := names.Parent(f.Root); p != ""; p = names.Parent(p) {
		n.above[p] = true
	}
}

// home returns the site that the files of a folder belong to, nil if none.
func (n *neighbors) home(at *layout.Folder) *home {
	if n.at == at {
		return n.of
	}
	n.at = at
	h, like := n.made[at.Root], n.named[[2]string{at.Pasture, at.Site}]
	switch {
	case at.How != layout.ByNothing && h != nil:
		n.of = h
	case at.How == layout.ByDateAbove && like != nil && like.base == "":
		n.of = like // a year of the site of which there is only a note
	case at.How == layout.ByNothing:
		n.of = n.nearest(at.Path)
	default:
		n.of = n.nearest(names.Parent(at.Root))
	}
	return n.of
}

// nearest returns the site of a folder or of the nearest one above it.
func (n *neighbors) nearest(dir string) *home {
	for ; dir != ""; dir = names.Parent(dir) {
		if h := n.made[dir]; h != nil {
			return h
		}
	}
	return nil
}

// deepestFirst returns the folders' paths, those with most levels first.
func deepestFirst(m map[string]*layout.Folder) []string {
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
