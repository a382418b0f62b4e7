package restore

import (
	"context"
	"slices"
	"strings"

	"linecamp/manifest"
)

// leftOut is a path that is not brought back because its file moved to another
// site.
type leftOut struct{ object, path string }

// arrival is bytes that came in one round, which all its versions share the
// time of.
type arrival struct {
	created int64 // Unix seconds
	digest  manifest.Digest
}

// cameIn counts the paths that came to an object in a version with bytes that went
// elsewhere in that round. A path that came by a move within the object is none.
func cameIn(inv *manifest.Inventory, n int, went map[arrival][]leftOut) map[arrival]int {
	before, state, created := inv.State(n-1), inv.State(n), inv.Versions[n-1].Created.Unix()
	came := map[arrival]int{}
	for path, d := range state {
		a := arrival{created, d}
		if _, is := went[a]; !is {
			continue
		}
		if _, was := before[path]; !was {
			came[a]++
		}
	}
	if len(came) > 0 {
		for old := range manifest.Moves(before, state) {
			came[arrival{created, before[old]}]--
		}
	}
	return came
}

// movedAway finds the paths that vanished from one object in the round in which
// the same bytes came to another: one-to-one, in byte order. Only what vanished
// is kept in mind, so the size of the archive does not matter.
func (p *planner) movedAway(ctx context.Context, objects []string) (map[leftOut]bool, error) {
	went := map[arrival][]leftOut{}
	for _, slug := range objects {
		inv, _, _ := p.newest(ctx, slug)
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		if inv == nil {
			continue
		}
		head := inv.State(inv.Head())
		for path, h := range inv.FullHistory() {
			if _, ok := head[path]; ok || h.Version == inv.Head() {
				continue
			}
			a := arrival{inv.Versions[h.Version].Created.Unix(), h.Digest} // the version that had it no more
			went[a] = append(went[a], leftOut{inv.ID, path})
		}
	}
	left := map[leftOut]bool{}
	if len(went) == 0 {
		return left, nil
	}
	came := map[arrival]map[string]int{} // by object, how many
	for _, slug := range objects {
		inv, _, _ := p.newest(ctx, slug)
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		if inv == nil {
			continue
		}
		for n := 1; n <= inv.Head(); n++ {
			for a, count := range cameIn(inv, n, went) {
				if came[a] == nil {
					came[a] = map[string]int{}
				}
				came[a][inv.ID] += count
			}
		}
	}
	for a, paths := range went {
		slices.SortFunc(paths, func(x, y leftOut) int {
			if c := strings.Compare(x.object, y.object); c != 0 {
				return c
			}
			return strings.Compare(x.path, y.path)
		})
		for _, gone := range paths {
			for _, object := range slices.Sorted(keys(came[a])) {
				if object != gone.object && came[a][object] > 0 {
					came[a][object]--
					left[gone] = true
					break
				}
			}
		}
	}
	return left, nil
}
