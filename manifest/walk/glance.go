package walk

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"sort"
	"time"

	"linecamp/manifest"
)

// A Glimpse is a file as it is seen without opening it.
type Glimpse struct {
	Path     string
	Size     int64
	Modified time.Time
	// Changed is when its name, place or content last changed; Modified where the
	// system has no such time.
	Changed time.Time
	// Known is the digest of its bytes, where the cache has read them and nothing
	// changed since; the zero Digest where it has not.
	Known manifest.Digest
}

// Glance walks a working folder and shows every file that [Read] would read, in
// no order that counts, without opening one: it costs what listing and looking
// costs. What cannot be looked at is passed over, since a round says so. The
// error is [ErrNoFolder], a folder that cannot be listed at its top, or ctx's.
func Glance(ctx context.Context, folder string, known func(dir string) ([]Known, error), see func(Glimpse)) error {
	top, err := openTop(folder)
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("the working folder %s is not there: %w", folder, ErrNoFolder)
	}
	if err != nil {
		return fmt.Errorf("the working folder %s cannot be listed: %w", folder, err)
	}
	g := glancer{ctx: ctx, folder: folder, known: known, see: see}
	g.list("", top)
	for len(g.below) > 0 && ctx.Err() == nil {
		dir := g.below[len(g.below)-1]
		g.below = g.below[:len(g.below)-1]
		if h, err := openBelow(filepath.Join(folder, filepath.FromSlash(dir))); err == nil {
			g.list(dir, h)
		}
	}
	return ctx.Err()
}

type glancer struct {
	ctx    context.Context
	folder string
	known  func(string) ([]Known, error)
	see    func(Glimpse)
	below  []string
}

func (g *glancer) list(dir string, h *handle) {
	defer h.close()
	names, _ := h.list() // what could be listed of it
	slices.Sort(names)
	var known []Known
	if g.known != nil {
		known, _ = g.known(dir)
	}
	for _, name := range names {
		st, err := h.lstat(name)
		switch {
		case err != nil:
		case st.what == directory && !litterFolder(name):
			g.below = append(g.below, in(dir, name))
		case st.what == regular && !litterFile(name):
			seen := Glimpse{Path: in(dir, name), Size: st.size, Modified: st.modified, Changed: st.changed}
			if st.changed.IsZero() {
				seen.Changed = st.modified
			}
			if i := sort.Search(len(known), func(i int) bool { return known[i].Name >= name }); i < len(known) && known[i].Name == name && st.known(&known[i]) {
				seen.Known = known[i].SHA256
			}
			g.see(seen)
		}
	}
}
