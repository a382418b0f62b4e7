package verify

import (
	"strings"

	"linecamp/manifest"
)

// Site is one object of an archive as people know it.
type Site struct {
	Object  string // its folder on every copy, the slug
	Site    string // its name; "" for files without a site
	Pasture string
	Folder  string // where it lies in the working folder, "" if not in one folder
	Before  string // the closed objects that it goes on from, spaces between them
}

// Name is the site's name, or the slug where it has none.
func (s Site) Name() string {
	if s.Site == "" {
		return s.Object
	}
	return s.Site
}

// Label names the site for a person.
func (s Site) Label() string {
	switch {
	case s.Site == "":
		return s.Object
	case s.Pasture == "":
		return s.Site
	}
	return s.Pasture + " / " + s.Site
}

// SiteOf describes an object by its record, which may be nil.
func SiteOf(object string, rec *manifest.Record) Site {
	s := Site{Object: object}
	if rec != nil {
		s.Site, s.Pasture, s.Folder = rec.Site, rec.Pasture, rec.Base
	}
	return s
}

// Names are all that the site goes by.
func (s Site) Names() []string {
	names := []string{s.Object, s.Site, s.Folder}
	if s.Pasture != "" && s.Site != "" {
		names = append(names, s.Pasture+"/"+s.Site)
	}
	return append(names, strings.Fields(s.Before)...)
}

// Begun is the first of the names a site goes by that begins so; "" for none.
func (s Site) Begun(begun string) string {
	for _, n := range []string{s.Site, s.Folder, s.Object} {
		if n != "" && strings.HasPrefix(manifest.Folded(n), manifest.Folded(begun)) {
			return n
		}
	}
	return ""
}

// Asked is the site as a command line names it.
func (s Site) Asked() string {
	name := s.Site
	if s.Pasture != "" && s.Site != "" {
		name = s.Pasture + "/" + s.Site
	}
	if name == "" || Shown(name) != name {
		return s.Object
	}
	return name
}
