package history

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
	"linecamp/verify"
)

// Sites lists what a copy holds, in the order of the objects' names. An object
// whose record is damaged is listed by its slug alone, and one without any
// readable manifest too, so that one fault does not hide the others.
func Sites(ctx context.Context, r store.Root) ([]verify.Site, error) {
	slugs, err := store.Objects(ctx, r)
	if err != nil {
		return nil, err
	}
	var sites []verify.Site
	joined, some := map[string][]string{}, false
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
		sites = append(sites, verify.SiteOf(slug, rec))
		joined[slug] = verify.JoinedIn(rec)
		some = some || len(joined[slug]) > 0
	}
	if !some {
		return sites, nil
	}
	seal, err := store.ReadSeal(ctx, r)
	if err != nil { // then all are listed
		return sites, ctx.Err()
	}
	return verify.OneSite(sites, joined, verify.ClosedBy(seal)), nil
}

// ErrNoSite marks a name that fits no site.
var ErrNoSite = errors.New("there is no such site")

// ManySites is a name that fits several sites.
type ManySites struct {
	Name  string
	Sites []verify.Site // in order
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
		fmt.Fprintf(&b, "\n  %s  (%s)", s.Object, verify.Shown(s.Label()))
	}
	return b.String()
}

// Find finds the one site a person means: by slug, name, folder, or pasture
// and name with a slash between. What is spelled exactly so comes first; capitals
// and accents do not matter otherwise. Where nothing is all of that, a beginning
// that fits one site is enough. The error wraps ErrNoSite, or is a *ManySites.
func Find(sites []verify.Site, name string) (verify.Site, error) {
	want := fold(name)
	if want == "" {
		return verify.Site{}, fault.Say(ErrNoSite, "the name of the site is empty")
	}
	before := map[string]bool{} // on another copy a closed object may still stand by itself
	for _, s := range sites {
		for _, slug := range strings.Fields(s.Before) {
			before[slug] = true
		}
	}
	sites = slices.DeleteFunc(slices.Clone(sites), func(s verify.Site) bool { return before[s.Object] })
	for _, fits := range []func(string) bool{
		func(n string) bool { return trimmed(n) == trimmed(name) },
		func(n string) bool { return fold(n) == want },
		func(n string) bool { return strings.HasPrefix(fold(n), want) },
	} {
		var found []verify.Site
		for _, s := range sites {
			if slices.ContainsFunc(s.Names(), func(n string) bool { return n != "" && fits(n) }) {
				found = append(found, s)
			}
		}
		if len(found) == 1 {
			return found[0], nil
		}
		if len(found) > 1 {
			return verify.Site{}, &ManySites{name, found}
		}
	}
	return verify.Site{}, fault.Say(ErrNoSite, "%s", noneFits(sites, name))
}

// noneFits says that a name fits no site, with those whose names hold the text,
// or all where they are few.
func noneFits(sites []verify.Site, name string) string {
	const most = 8
	var all, near []string
	for _, s := range sites {
		if s.Site == "" || manifest.Unfiled(s.Object) {
			continue // files without a site can be named by the folder, and are no site
		}
		all = append(all, verify.Shown(s.Label()))
		if slices.ContainsFunc(s.Names(), func(n string) bool { return strings.Contains(fold(n), fold(name)) }) {
			near = append(near, verify.Shown(s.Label()))
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

// fold makes two ways to write a name equal: capitals, accents, slashes of either
// kind, and slashes or spaces around it.
func fold(s string) string { return manifest.Folded(trimmed(s)) }

func trimmed(s string) string { return strings.Trim(strings.ReplaceAll(s, `\`, "/"), "/ ") }
