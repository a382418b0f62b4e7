package verify

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/store"
)

// Site is one object of an archive as people know it.
type Site struct {
	Object  string // its folder on every copy, the slug
	Site    string // its name; "" for files without a site
	Pasture string
	Folder  string // where it lies in the working folder, "" if not in one folder
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

// Sites lists what a copy holds, in the order of the objects' names. An object
// whose record is damaged is listed by its slug alone, and one without any
// readable manifest too, so that one fault does not hide the others.
func Sites(ctx context.Context, r store.Root) ([]Site, error) {
	slugs, err := store.Objects(ctx, r)
	if err != nil {
		return nil, err
	}
	var sites []Site
	for _, slug := range slugs {
		inv, rec, err := ReadObject(ctx, r, slug)
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if errors.Is(err, store.ErrNoObject) {
			continue
		}
		if inv != nil && rec == nil {
			rs := Records{Inventory: inv, Roots: []store.Root{r}}
			rec, _ = rs.Newest(ctx)
		}
		sites = append(sites, SiteOf(slug, rec))
	}
	return sites, nil
}

// ErrNoSite marks a name that fits no site.
var ErrNoSite = errors.New("no such site")

// ManySites is a name that fits several sites.
type ManySites struct {
	Name  string
	Sites []Site // in order
}

func (e *ManySites) Error() string {
	const most = 12
	var b strings.Builder
	fmt.Fprintf(&b, "%q fits several sites; say which one:", e.Name)
	for i, s := range e.Sites {
		if i == most {
			fmt.Fprintf(&b, "\n  … and %d more", len(e.Sites)-most)
			break
		}
		fmt.Fprintf(&b, "\n  %s  (%s)", s.Object, Shown(s.Label()))
	}
	return b.String()
}

// FindSite finds the one site a person means: by slug, name, folder, or pasture
// and name with a slash between. What is spelled exactly so comes first; capitals
// and accents do not matter otherwise. Where nothing is all of that, a beginning
// that fits one site is enough. The error wraps ErrNoSite, or is a *ManySites.
func FindSite(sites []Site, name string) (Site, error) {
	want := fold(name)
	if want == "" {
		return Site{}, fmt.Errorf("the name of the site is empty: %w", ErrNoSite)
	}
	for _, fits := range []func(string) bool{
		func(n string) bool { return trimmed(n) == trimmed(name) },
		func(n string) bool { return fold(n) == want },
		func(n string) bool { return strings.HasPrefix(fold(n), want) },
	} {
		var found []Site
		for _, s := range sites {
			if slices.ContainsFunc(s.names(), func(n string) bool { return n != "" && fits(n) }) {
				found = append(found, s)
			}
		}
		if len(found) == 1 {
			return found[0], nil
		}
		if len(found) > 1 {
			return Site{}, &ManySites{name, found}
		}
	}
	return Site{}, fmt.Errorf("%s: %w", noneFits(sites, name), ErrNoSite)
}

// noneFits says that a name fits no site, with those whose names hold the text,
// or all where they are few.
func noneFits(sites []Site, name string) string {
	const most = 8
	var all, near []string
	for _, s := range sites {
		if s.Site == "" || manifest.Unfiled(s.Object) {
			continue // files without a site can be named by the folder, and are no site
		}
		all = append(all, Shown(s.Label()))
		if slices.ContainsFunc(s.names(), func(n string) bool { return strings.Contains(fold(n), fold(name)) }) {
			near = append(near, Shown(s.Label()))
		}
	}
	switch {
	case len(all) == 0:
		return fmt.Sprintf("no site is recorded yet, so %q fits none", name)
	case len(near) > 0:
		if more := len(near) - most; more > 0 {
			near = append(near[:most], fmt.Sprintf("and %d more", more))
		}
		return fmt.Sprintf("no site begins with %q. These have it in their name: %s", name, strings.Join(near, "; "))
	case len(all) <= most:
		return fmt.Sprintf("%q fits no site. There are: %s", name, strings.Join(all, "; "))
	}
	return fmt.Sprintf("%q fits none of the %d sites; `linecamp tally` lists them. Give the name, the folder or the beginning of one", name, len(all))
}

func (s Site) names() []string {
	names := []string{s.Object, s.Site, s.Folder}
	if s.Pasture != "" && s.Site != "" {
		names = append(names, s.Pasture+"/"+s.Site)
	}
	return names
}

// fold makes two ways to write a name equal: capitals, accents, slashes of either
// kind, and slashes or spaces around it.
func fold(s string) string { return manifest.Folded(trimmed(s)) }

func trimmed(s string) string { return strings.Trim(strings.ReplaceAll(s, `\`, "/"), "/ ") }

// Begun is the first of the names a site goes by that begins so; "" for none.
func (s Site) Begun(begun string) string {
	for _, n := range []string{s.Site, s.Folder, s.Object} {
		if n != "" && strings.HasPrefix(manifest.Folded(n), manifest.Folded(begun)) {
			return n
		}
	}
	return ""
}
