package years

import (
	"cmp"
	"slices"
	"time"

	"linecamp/verify/figures"
	"linecamp/verify/gather"
)

// objectsOf are the objects that paths are filed under; nil where that is the
// site's own alone.
func (j *judge) objectsOf(paths []string) (all []string) {
	if len(j.Formers) == 0 {
		return nil
	}
	for _, it := range j.items {
		if slices.Contains(paths, it.Path) {
			all = append(all, cmp.Or(it.Of, j.Object))
		}
	}
	slices.Sort(all)
	if all = slices.Compact(all); len(all) == 1 && all[0] == j.Object {
		return nil
	}
	return all
}

// VisitedYears are the years up to now in which the site of an object has visits; nil
// for an object that is no site here.
func VisitedYears(in gather.Input, object string) []int {
	i := in.IndexOf(object)
	if i < 0 {
		return nil
	}
	return Visited(&in.Sites[i], in.Now)
}

// Visited are the years up to now in which a site has visits.
func Visited(s *gather.SiteItems, now time.Time) []int {
	return slices.DeleteFunc(numbers(byYear(s, s.List())), func(y int) bool { return y > now.Year() })
}

// Cadence is the number of years between the latest of the visits of these years; 0
// for a single visit.
func Cadence(visited []int) int {
	gaps := gapsOf(visited)
	if len(gaps) == 0 {
		return 0
	}
	return median(gaps[max(0, len(gaps)-figures.SideGaps):])
}
