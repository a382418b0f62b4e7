package verify

import (
	"fmt"
	"path"
	"slices"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/dates"
	"linecamp/manifest/tally"
)

// Photos may lie with a site under a name that tells no day, or several: 06-07-19.
// They are named and asked about, and while they may be the visit of a year, nobody
// says that it lacks anything.

// undated are photos of one folder whose day is not known.
type undated struct {
	tally.Undated
	found bool // something there looks like a date
	paths []string
	gone  bool // no longer in the working folder
}

// undated lists them, by folder.
func (s *SiteItems) undated(now time.Time) (all []*undated) {
	for _, it := range s.Items {
		if it.Kind != manifest.KindPhoto || len(it.Visit) > 4 || it.Path == "" {
			continue
		}
		d, found := dates.InDoubt(it.Path, s.nameOf(it.Of), now)
		filed, gone := it.Visit != "", it.Where != InWorking
		if filed && len(d.Days) == 0 || gone && (filed || s.accepted(it.Path)) {
			continue // a year is all that was told, or the years tell of it
		}
		if !found {
			d.Folder = path.Dir(it.Path)
		}
		i := slices.IndexFunc(all, func(u *undated) bool { return u.Folder == d.Folder && u.Filed == filed && u.gone == gone })
		if i < 0 {
			i = len(all)
			all = append(all, &undated{Undated: tally.Undated{Site: s.Site, Pasture: s.Pasture, Doubt: d, Filed: filed}, found: found, gone: gone})
		}
		all[i].Photos++
		all[i].paths = append(all[i].paths, it.Path)
	}
	return all
}

// nameOf is the name of a site that this one took over, or its own.
func (s *SiteItems) nameOf(object string) string {
	for _, f := range s.Formers {
		if object != "" && f.Object == object {
			return f.Site
		}
	}
	return s.Site
}

// undated finds the photos whose day is not known.
func (x *finder) undated(s *SiteItems) {
	all := s.undated(x.in.Now)
	var plain []tally.Undated
	for _, u := range all {
		plain = append(plain, u.Undated)
	}
	todo := tally.Todo(plain)
	for _, u := range all {
		text := u.Question()
		if u.gone {
			text += " (no longer in the working folder; a copy may have them)"
		}
		x.add(s, Finding{Kind: FoundUndated, Paths: u.paths, Text: text, Todo: todo, Note: !u.found || u.Filed})
	}
}

// doubts are the folders whose photos may be of a visit nobody knows the year of.
func (j *judge) findDoubts() {
	for _, u := range j.undated(j.now) {
		if u.found && !u.Filed {
			j.doubts = append(j.doubts, u.Doubt)
		}
	}
	if len(j.doubts) == 0 {
		return
	}
	// The same site, had it been visited in all the years they may be of.
	other := *j
	other.rounds = slices.Clone(j.rounds)
	for _, d := range j.doubts {
		if len(d.Years) == 0 {
			return
		}
		other.rounds = append(other.rounds, d.Years...)
	}
	slices.Sort(other.rounds)
	other.rounds = slices.Compact(other.rounds)
	for len(other.rounds) > 0 && other.rounds[len(other.rounds)-1] > j.now.Year() {
		other.rounds = other.rounds[:len(other.rounds)-1]
	}
	j.anyway, _ = other.expected(j.now.Year())
}

// mayBeOf are the folders whose photos may be of a visit of the year.
func (j *judge) mayBeOf(year int) (folders []string) {
	for _, d := range j.doubts {
		if d.In(year) {
			folders = append(folders, d.Folder)
		}
	}
	return folders
}

// mayExplain are the folders because of which nobody can say that a year without any
// visit was skipped: they may be of it, or of others that tell another cadence.
func (j *judge) mayExplain(year int) (folders []string) {
	if folders = j.mayBeOf(year); folders == nil && len(j.doubts) > 0 && !slices.Contains(j.anyway, year) {
		for _, d := range j.doubts {
			folders = append(folders, d.Folder)
		}
	}
	return folders
}

// asked says in a sentence what the folders of a year that may be visited keep open.
func (s *SiteItems) asked(folders []string) string {
	at := Shown(folders[0])
	if more := len(folders) - 1; more > 0 {
		at += fmt.Sprintf(" and %s", Count(int64(more), "other folder"))
	}
	return fmt.Sprintf("%s is left out where photos in %s may be of the visit; once their day is known, it is known too", Shown(s.label("")), at)
}
