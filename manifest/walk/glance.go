package walk

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"sort"
	"time"

	"github.com/cespare/xxhash/v2"

	"linecamp/manifest"
	"linecamp/manifest/store/fault"
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
	// Mark stands for the file's path, size and times. Of two walks whose marks come
	// to the same sum, the second found nothing new.
	Mark uint64
}

// Glance walks a working folder and shows every file that [Read] would read, in
// no order that counts, without opening one: it costs what listing and looking
// costs. What cannot be looked at is passed over, since a round says so. The
// error is [ErrNoFolder], a folder that cannot be listed at its top, or ctx's.
func Glance(ctx context.Context, folder string, known func(dir string) ([]Known, error), see func(Glimpse)) error {
	top, err := openTop(folder)
	if errors.Is(err, fs.ErrNotExist) {
		return fault.Say(ErrNoFolder, "your folder %s is not there", folder)
	}
	if err != nil {
		return fmt.Errorf("your folder %s cannot be listed: %w", folder, err)
	}
	g := glancer{ctx: ctx, folder: folder, known: known, see: see}
	g.list("", top)
	for len(g.below) > 0 && ctx.Err() == nil {
		dir := g.below[len(g.below)-1]
		g.below = g.below[:len(g.below)-1]
		if h, err := openIn(folder, dir); err == nil {
			g.list(dir, h)
		}
	}
	return ctx.Err()
}

func openIn(folder, dir string) (*handle, error) {
	if dir == "" {
		return openTop(folder)
	}
	return openBelow(filepath.Join(folder, filepath.FromSlash(dir)))
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
			seen := glimpse(dir, name, st)
			if i := sort.Search(len(known), func(i int) bool { return known[i].Name >= name }); i < len(known) && known[i].Name == name && st.known(&known[i]) {
				seen.Known = known[i].SHA256
			}
			g.see(seen)
		}
	}
}

func glimpse(dir, name string, st stat) Glimpse {
	g := Glimpse{Path: in(dir, name), Size: st.size, Modified: st.modified, Changed: st.changed, Mark: mark(dir, name, st)}
	if st.changed.IsZero() {
		g.Changed = st.modified
	}
	return g
}

// mark is a Glimpse's Mark.
func mark(dir, name string, st stat) uint64 {
	var room [512]byte // for most paths
	b := append(appendPath(room[:0], dir, name), 0)
	b = binary.LittleEndian.AppendUint64(b, uint64(st.size))
	b = binary.LittleEndian.AppendUint64(b, uint64(st.modified.UnixNano()))
	return xxhash.Sum64(binary.LittleEndian.AppendUint64(b, uint64(st.changed.UnixNano())))
}

// BytesMark stands for the path and the bytes of a file, which lies in dir or, where
// that is "", at the top.
func BytesMark(dir, name string, d manifest.Digest) uint64 {
	var room [512]byte
	return xxhash.Sum64(append(append(appendPath(room[:0], dir, name), 0), d[:]...))
}

func appendPath(b []byte, dir, name string) []byte {
	if dir != "" {
		b = append(append(b, dir...), '/')
	}
	return append(b, name...)
}
