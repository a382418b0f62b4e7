package verify

import (
	"cmp"
	"fmt"
	"slices"

	"linecamp/manifest"
)

// filed is one photo with the visit it is filed under.
type filed struct {
	site  *SiteItems
	visit string
	path  string
}

// twice finds photos whose same bytes are filed under two sites or two years. A
// second copy within one site's year is somebody's choice, and no finding.
func (x *finder) twice() {
	where := map[manifest.Digest][]filed{}
	var order []manifest.Digest
	for i := range x.in.Sites {
		s := &x.in.Sites[i]
		for _, it := range s.Items {
			if it.File == nil || it.Kind != manifest.KindPhoto || it.File.Size == 0 {
				continue
			}
			d := it.File.SHA256
			if where[d] == nil {
				order = append(order, d)
			}
			where[d] = append(where[d], filed{s, it.Visit, it.Path})
		}
	}
	// One finding for each pair of visits, however many photos they share.
	type pair struct{ a, b filed }
	shared := map[pair][]string{}
	var pairs []pair
	for _, d := range order {
		all := where[d]
		for _, b := range all[1:] {
			a := all[0]
			ya, _ := yearOf(a.visit)
			if yb, _ := yearOf(b.visit); a.site == b.site && ya == yb {
				continue
			}
			p := pair{filed{a.site, a.visit, ""}, filed{b.site, b.visit, ""}}
			if shared[p] == nil {
				pairs = append(pairs, p)
			}
			shared[p] = append(shared[p], a.path, b.path)
		}
	}
	slices.SortStableFunc(pairs, func(p, q pair) int {
		return cmp.Or(cmp.Compare(p.a.site.label(p.a.visit), q.a.site.label(q.a.visit)), cmp.Compare(p.b.site.label(p.b.visit), q.b.site.label(q.b.visit)))
	})
	for _, p := range pairs {
		paths := shared[p]
		slices.Sort(paths)
		paths = slices.Compact(paths)
		x.add(p.a.site, Finding{Visit: p.a.visit, Kind: FoundTwice, Paths: paths,
			Text: fmt.Sprintf("%s filed here, byte for byte, also under %s", count(int64(len(shared[p])/2), "photo"), p.b.site.label(p.b.visit)),
			Todo: "One of the two is the wrong place; take it out there. The copies keep both."})
	}
}
