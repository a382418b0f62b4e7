package mirror

import (
	"iter"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/tally"
)

// group is what the working folder shows of one site, or of the files without
// a site in one top-level folder. Each group is one object.
type group struct {
	site, pasture, base string
	unfiled             bool
	top                 string                // of unfiled files: the top-level folder, "" for the top itself
	sites               []*tally.Site         // where its files come from
	loose               []tally.Files         // or here, where they have no site
	files               map[string]tally.File // logical path → file; filled by load
	raw                 map[string][]byte     // logical path → raw name, where they differ
}

// load spreads the group's files out by logical path; release packs them up
// again. An archive may be large, so only the group that is being looked at stays
// loaded.
func (g *group) load() {
	if g.files != nil {
		return
	}
	g.files, g.raw = map[string]tally.File{}, map[string][]byte{}
	for f := range g.all() {
		g.add(f)
	}
}

// all yields the group's files, loaded or not.
func (g *group) all() iter.Seq[tally.File] {
	return func(yield func(tally.File) bool) {
		for _, s := range g.sites {
			for f := range s.Files() {
				if !yield(f) {
					return
				}
			}
		}
		for _, list := range g.loose {
			for f := range list.All() {
				if !yield(f) {
					return
				}
			}
		}
	}
}

func (g *group) release() { g.files, g.raw = nil, nil }

// key tells groups and objects apart: by the site's folder where it has one of
// its own, else by its names; files without a site by their top-level folder.
func (g *group) key() string {
	switch {
	case g.unfiled:
		return "top\x00" + g.top
	case g.base != "":
		return "base\x00" + g.base
	default:
		return "site\x00" + g.pasture + "\x00" + g.site
	}
}

func (g *group) add(f tally.File) {
	raw := f.Path
	if g.base != "" {
		raw = strings.TrimPrefix(f.Path, g.base+"/")
	}
	logical, escaped := manifest.Logical(raw)
	g.files[logical] = f
	if escaped {
		g.raw[logical] = []byte(raw)
	}
}

// logicalOf is the logical path of another file of the group.
func (g *group) logicalOf(path string) string {
	if path == "" {
		return ""
	}
	if g.base != "" {
		path = strings.TrimPrefix(path, g.base+"/")
	}
	logical, _ := manifest.Logical(path)
	return logical
}

// entry is what the record will say of one file of the group.
func (g *group) entry(logical string) manifest.Entry {
	f := g.files[logical]
	return manifest.Entry{
		Bytes:    f.Size,
		Modified: f.Modified.UTC(),
		Raw:      g.raw[logical],
		Visit:    f.Visit,
		View:     f.View,
		Kind:     f.Kind,
		With:     g.logicalOf(f.With),
	}
}

// groups sorts the tally's files into the objects they belong to.
func groups(t *tally.Result) map[string]*group {
	all := map[string]*group{}
	entered := func(g *group) *group {
		if old, ok := all[g.key()]; ok {
			return old
		}
		all[g.key()] = g
		return g
	}
	for i := range t.Sites {
		s := &t.Sites[i]
		g := entered(&group{site: s.Site, pasture: s.Pasture, base: s.Base})
		g.sites = append(g.sites, s)
	}
	var run []tally.File // of one top-level folder
	pack := func() {
		if len(run) > 0 {
			g := entered(&group{unfiled: true, top: firstElement(run[0].Path)})
			g.loose = append(g.loose, tally.PackFiles(run...))
			run = run[:0]
		}
	}
	for f := range t.Unfiled.All() {
		if len(run) > 0 && firstElement(run[0].Path) != firstElement(f.Path) {
			pack()
		}
		run = append(run, f)
	}
	pack()
	return all
}

// groupKey is the key of the group an object was made from.
func (o *object) groupKey() string {
	g := group{site: o.rec.Site, pasture: o.rec.Pasture, base: o.rec.Base}
	if g.site == "" && g.base == "" {
		g.unfiled, g.top = true, o.top()
	}
	return g.key()
}

// top is the top-level folder of an object of files without a site: the first
// element of any raw path it ever had.
func (o *object) top() string {
	for logical, e := range o.rec.Paths {
		return firstElement(rawPath("", logical, e))
	}
	for n := o.head(); n > 0; n-- {
		for logical := range o.inv.State(n) {
			if !strings.HasPrefix(logical, ".linecamp/") {
				return firstElement(logical)
			}
		}
	}
	return ""
}

func firstElement(path string) string {
	if top, _, below := strings.Cut(path, "/"); below {
		return top
	}
	return ""
}
