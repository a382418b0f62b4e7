package page

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"regexp"
	"slices"
	"strings"

	"linecamp/daemon"
	"linecamp/manifest"
	"linecamp/verify"
	"linecamp/verify/gather"
)

// index finds what a request asks for by its key.
type index struct {
	sites  []*site // by pasture and name
	bySite map[string]*site
	files  map[string]*file
}

// site is one site with what is known of it.
type site struct {
	gather.SiteItems
	key      string
	years    []verify.Year // by year
	findings []verify.Finding
	files    []*file // by visit, view and path
}

// label names the site for a person.
func (s *site) label() string {
	return verify.Site{Object: s.Object, Site: verify.Shown(s.Site), Pasture: verify.Shown(s.Pasture)}.Label()
}

// name is the site's own name, without its pasture's.
func (s *site) name() string {
	return verify.Site{Object: s.Object, Site: verify.Shown(s.Site)}.Label()
}

// asked is the site as a command line names it.
func (s *site) asked() string {
	return verify.Site{Object: s.Object, Site: s.Site, Pasture: s.Pasture}.Asked()
}

// file is one file of a site.
type file struct {
	gather.Item
	key  string
	site *site
}

// photo reports whether the file is a picture to look at: of the working folder, or
// on a copy.
func (f *file) photo() bool { return f.Kind == manifest.KindPhoto }

// isKey is what may stand in an address as it is.
var isKey = regexp.MustCompile(`^[a-z0-9][a-z0-9-]*$`)

// newIndex gives everything in a record its key.
func newIndex(r *daemon.Record) *index {
	x := &index{bySite: map[string]*site{}, files: map[string]*file{}}
	type name struct{ pasture, site string }
	byName := map[name]*site{}
	for i := range r.Sites {
		s := &site{SiteItems: r.Sites[i]}
		s.key = s.Object
		if !isKey.MatchString(s.key) { // never recorded yet
			s.key = "new-" + key("site", s.Pasture, s.Site)
		}
		x.sites = append(x.sites, s)
		x.bySite[s.key] = s
		byName[name{s.Pasture, s.Site}] = s
		for _, it := range s.List() {
			f := &file{Item: it, site: s}
			if it.File != nil {
				f.key = key("here", it.Path, it.File.SHA256.String())
			} else {
				f.key = key("kept", cmp.Or(it.Of, s.Object), it.Path)
			}
			x.files[f.key] = f
			s.files = append(s.files, f)
		}
		slices.SortStableFunc(s.files, func(a, b *file) int {
			return cmp.Or(strings.Compare(a.Visit, b.Visit), strings.Compare(a.View, b.View), strings.Compare(a.Path, b.Path))
		})
	}
	for _, y := range r.Years {
		if s := byName[name{y.Pasture, y.Site}]; s != nil {
			s.years = append(s.years, y)
		}
	}
	for _, f := range r.Findings {
		if s := byName[name{f.Pasture, f.Site}]; s != nil && f.Site != "" {
			s.findings = append(s.findings, f)
		}
	}
	for _, s := range x.sites {
		slices.SortFunc(s.years, func(a, b verify.Year) int { return a.Year - b.Year })
	}
	slices.SortFunc(x.sites, func(a, b *site) int {
		return cmp.Or(natural(a.Pasture, b.Pasture), natural(a.Site, b.Site), strings.Compare(a.key, b.key))
	})
	return x
}

// key is a short name for what some words name.
func key(words ...string) string {
	h := sha256.New()
	for _, w := range words {
		h.Write([]byte(w))
		h.Write([]byte{0})
	}
	return hex.EncodeToString(h.Sum(nil)[:12])
}

// natural compares names as people order them: "Stake 2" before "Stake 10".
func natural(a, b string) int {
	digits := func(s string) int {
		n := 0
		for n < len(s) && s[n] >= '0' && s[n] <= '9' {
			n++
		}
		return n
	}
	for a != "" && b != "" {
		n, m := digits(a), digits(b)
		if n > 0 && m > 0 {
			x, y := strings.TrimLeft(a[:n], "0"), strings.TrimLeft(b[:m], "0")
			if c := cmp.Or(cmp.Compare(len(x), len(y)), strings.Compare(x, y)); c != 0 {
				return c
			}
			a, b = a[n:], b[m:]
			continue
		}
		if a[0] != b[0] {
			return cmp.Compare(a[0], b[0])
		}
		a, b = a[1:], b[1:]
	}
	return cmp.Compare(len(a), len(b))
}
