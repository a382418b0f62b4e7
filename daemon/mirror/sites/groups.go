package sites

import (
	"iter"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/tally"
)

// Group is what the working folder shows of one site, or of the files without
// a site in one top-level folder. Each group is one object.
type Group struct {
	Site, Pasture, Base string
	Unfiled             bool
	Top                 string                // of unfiled files: the top-level folder, "" for the top itself
	sites               []*tally.Site         // where its files come from
	loose               []tally.Files         // or here, where they have no site
	Files               map[string]tally.File // logical path → file; filled by Load
	raw                 map[string][]byte     // logical path → raw name, where they differ
}

// Load spreads the group's files out by logical path; Release packs them up
// again. An archive may be large, so only the group that is being looked at stays
// loaded.
func (g *Group) Load() {
	if g.Files != nil {
		return
	}
	g.Files, g.raw = map[string]tally.File{}, map[string][]byte{}
	for f := range g.All() {
		g.add(f)
	}
}

// All yields the group's files, loaded or not.
func (g *Group) All() iter.Seq[tally.File] {
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

func (g *Group) Release() { g.Files, g.raw = nil, nil }

// Key tells groups and objects apart: by the site's folder where it has one of
// its own, else by its names; files without a site by their top-level folder.
func (g *Group) Key() string {
	switch {
	case g.Unfiled:
		return "top\x00" + g.Top
	case g.Base != "":
		return "base\x00" + g.Base
	default:
		return "site\x00" + g.Pasture + "\x00" + g.Site
	}
}

func (g *Group) add(f tally.File) {
	raw := f.Path
	if g.Base != "" {
		raw = strings.TrimPrefix(f.Path, g.Base+"/")
	}
	logical, escaped := manifest.Logical(raw)
	g.Files[logical] = f
	if escaped {
		g.raw[logical] = []byte(raw)
	}
}

// logicalOf is the logical path of another file of the group.
func (g *Group) logicalOf(path string) string {
	if path == "" {
		return ""
	}
	if g.Base != "" {
		path = strings.TrimPrefix(path, g.Base+"/")
	}
	logical, _ := manifest.Logical(path)
	return logical
}

// Entry is what the record will say of one file of the group.
func (g *Group) Entry(logical string) manifest.Entry {
	f := g.Files[logical]
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

// Groups sorts the tally's files into the objects they belong to.
func Groups(t *tally.Result) map[string]*Group {
	all := map[string]*Group{}
	entered := func(g *Group) *Group {
		if old, ok := all[g.Key()]; ok {
			return old
		}
		all[g.Key()] = g
		return g
	}
	for i := range t.Sites {
		s := &t.Sites[i]
		g := entered(&Group{Site: s.Site, Pasture: s.Pasture, Base: s.Base})
		g.sites = append(g.sites, s)
	}
	var run []tally.File // of one top-level folder
	pack := func() {
		if len(run) > 0 {
			g := entered(&Group{Unfiled: true, Top: firstElement(run[0].Path)})
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

// GroupKey is the key of the group an object was made from.
func (o *Object) GroupKey() string {
	g := Group{Site: o.Rec.Site, Pasture: o.Rec.Pasture, Base: o.Rec.Base}
	if g.Site == "" && g.Base == "" {
		g.Unfiled, g.Top = true, o.Top()
	}
	return g.Key()
}

// Top is the top-level folder of an object of files without a site: the first
// element of any raw path it ever had.
func (o *Object) Top() string {
	for logical, e := range o.Rec.Paths {
		return firstElement(manifest.RawPath("", logical, e))
	}
	for n := o.Head(); n > 0; n-- {
		for logical := range o.Inv.State(n) {
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

// Shown is what the folder has of an object's site.
func Shown(t *tally.Result, o *Object) map[string]manifest.Digest {
	g := Groups(t)[o.GroupKey()]
	if g == nil {
		return nil
	}
	g.Load()
	defer g.Release()
	files := map[string]manifest.Digest{}
	for p, f := range g.Files {
		files[p] = f.SHA256
	}
	return files
}
