package gather

import (
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

// Undated are photos of one folder whose day is not known.
type Undated struct {
	tally.Undated
	Found bool // something there looks like a date
	Paths []string
	Gone  bool // no longer in the working folder
}

// Undated lists those among the site's items, by folder.
func (s *SiteItems) Undated(items []Item, now time.Time) (all []*Undated) {
	for _, it := range items {
		if it.Kind != manifest.KindPhoto || len(it.Visit) > 4 || it.Path == "" {
			continue
		}
		d, found := dates.InDoubt(it.Path, s.NameOf(it.Of), now)
		filed, gone := it.Visit != "", it.Where != InWorking
		if filed && len(d.Days) == 0 || gone && (filed || s.Accepted(it.Path)) {
			continue // a year is all that was told, or the years tell of it
		}
		if !found {
			d.Folder = path.Dir(it.Path)
		}
		i := slices.IndexFunc(all, func(u *Undated) bool { return u.Folder == d.Folder && u.Filed == filed && u.Gone == gone })
		if i < 0 {
			i = len(all)
			all = append(all, &Undated{Undated: tally.Undated{Site: s.Site, Pasture: s.Pasture, Doubt: d, Filed: filed}, Found: found, Gone: gone})
		}
		all[i].Photos++
		all[i].Paths = append(all[i].Paths, it.Path)
	}
	return all
}

// NameOf is the name of a site that this one took over, or its own.
func (s *SiteItems) NameOf(object string) string {
	for _, f := range s.Formers {
		if object != "" && f.Object == object {
			return f.Site
		}
	}
	return s.Site
}
