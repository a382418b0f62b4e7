package verify

import (
	"slices"
	"strconv"
	"strings"

	"linecamp/manifest"
)

const (
	untold   = "untold" // the view of a photo that nothing tells
	lackNote = "note"
	lackAny  = "photo"
	lackFew  = "usual number of photos"
	// lackVisit begins the name of a whole visit, "visit of 06-21": the middle of
	// its season, or the season's first day where a card declares it.
	lackVisit = "visit of "

	sideYears = 4 // visited years looked at on each side
	fewestHad = 2 // of them that must have had it

	fewestCounted = 4 // of them whose number of photos is a habit
)

// visitYear is what one year's visits brought home.
type visitYear struct {
	year   int
	has    map[string]bool // views, "note", "photo", and visits where there are several seasons
	photos int
	untold int      // of them, those that might be any view
	away   []string // paths no longer in the working folder
	lost   []string // paths with no good bytes anywhere
}

// byYear sorts a site's items into the years of their visits. Changes a person
// accepted are no loss.
func byYear(s SiteItems) []visitYear {
	years := map[int]*visitYear{}
	for _, it := range s.Items {
		n, ok := yearOf(it.Visit)
		if !ok || (it.Where != InWorking && s.accepted(it.Path)) {
			continue
		}
		v := years[n]
		if v == nil {
			v = &visitYear{year: n, has: map[string]bool{}}
			years[n] = v
		}
		switch it.Where {
		case OnCopy:
			v.away = append(v.away, it.Path)
		case Nowhere:
			v.lost = append(v.lost, it.Path)
		}
		switch it.Kind {
		case manifest.KindNote:
			v.has[lackNote] = true
		case manifest.KindPhoto:
			v.has[lackAny] = true
			v.photos++
			if it.View == untold || it.View == "" {
				v.untold++
			} else {
				v.has[it.View] = true
			}
		}
	}
	out := make([]visitYear, 0, len(years))
	for _, v := range years {
		slices.Sort(v.away)
		slices.Sort(v.lost)
		if len(v.has) > 0 || len(v.away)+len(v.lost) > 0 {
			out = append(out, *v)
		}
	}
	slices.SortFunc(out, func(a, b visitYear) int { return a.year - b.year })
	return out
}

func (s *SiteItems) accepted(path string) bool {
	return slices.ContainsFunc(s.Decisions, func(d manifest.Decision) bool {
		return d.What == manifest.Accepted && d.Path != "" && below(path, d.Path)
	})
}

// below reports whether path is folder or lies in it.
func below(path, folder string) bool {
	if folder == "" {
		return true
	}
	return len(path) >= len(folder) && path[:len(folder)] == folder &&
		(len(path) == len(folder) || path[len(folder)] == '/')
}

// yearOf is the year of a visit's date.
func yearOf(visit string) (int, bool) {
	if len(visit) < 4 {
		return 0, false
	}
	n, err := strconv.Atoi(visit[:4])
	return n, err == nil && n > 0
}

// fewerPhotos reports whether years[i] has fewer photos than every neighbour,
// where nothing tells any photo's view and their number is a habit: the same in
// three of four, at least four of them, and one of them before.
func fewerPhotos(years []visitYear, i int, before, after []visitYear) bool {
	least, same, all := 0, 0, slices.Concat(before, after)
	for _, v := range append(all, years[i]) {
		if v.photos != v.untold {
			return false
		}
	}
	for _, v := range all {
		switch {
		case least == 0 || v.photos < least:
			least, same = v.photos, 1
		case v.photos == least:
			same++
		}
	}
	fewer := func(j int) bool { return j >= 0 && j < len(years) && years[j].photos < least }
	running := fewer(i-1) && fewer(i-2) || fewer(i-1) && fewer(i+1) || fewer(i+1) && fewer(i+2)
	return years[i].photos > 0 && fewer(i) && !running && len(before) > 0 && len(all) >= fewestCounted && 4*same >= 3*len(all)
}

// numbers are the years of what was visited.
func numbers(visited []visitYear) []int {
	out := make([]int, len(visited))
	for i, v := range visited {
		out[i] = v.year
	}
	return out
}

// lacking lists what years[i] has not and its neighbours usually have.
func lacking(years []visitYear, i int) []string {
	if baseline(gapsOf(numbers(years))) {
		if i == 0 {
			return nil // another time's visit, by another habit
		}
		years, i = years[1:], i-1
	}
	before := years[max(0, i-sideYears):i]
	after := years[i+1 : min(len(years), i+1+sideYears)]
	had := map[string]int{}    // neighbours that had it
	early := map[string]bool{} // one before had it
	for _, v := range before {
		for k := range v.has {
			had[k]++
			early[k] = true
		}
	}
	for _, v := range after {
		for k := range v.has {
			had[k]++
		}
	}
	n := len(before) + len(after)
	// without reports whether this is one of three visited years running that
	// have not got it: a habit of their own.
	without := func(k string) bool {
		from, to := i, i+1
		for from > 0 && !years[from-1].has[k] {
			from--
		}
		for to < len(years) && !years[to].has[k] {
			to++
		}
		return to-from >= habitRun
	}
	usual := func(k string) bool {
		h := had[k]
		if h < fewestHad || 4*h < 3*n || without(k) {
			return false
		}
		return early[k] || (h == n && n > fewestHad)
	}
	here := years[i].has
	var views, visits []string
	for k := range had {
		switch {
		case k == lackNote || k == lackAny || here[k] || !usual(k):
		case strings.HasPrefix(k, lackVisit):
			visits = append(visits, k)
		default:
			views = append(views, k)
		}
	}
	// Each photo of unknown view may be one of those lacking: the least usual
	// are given the benefit of the doubt.
	slices.SortFunc(views, func(a, b string) int {
		if had[a] != had[b] {
			return had[b] - had[a]
		}
		if a < b {
			return -1
		}
		return 1
	})
	views = views[:max(0, len(views)-years[i].untold)]
	slices.Sort(views)
	switch {
	case len(views) > 0:
	case !here[lackAny] && usual(lackAny):
		views = append(views, lackAny)
	case len(visits) == 0 && fewerPhotos(years, i, before, after):
		views = append(views, lackFew)
	}
	if !here[lackNote] && usual(lackNote) {
		views = append(views, lackNote)
	}
	slices.Sort(visits)
	return append(views, visits...)
}
