package reach

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"linecamp/daemon/config"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/near"
	"linecamp/manifest/words"
)

// RootAccess is how to get at a ROOT that no config describes: a copy found on
// a shelf, or one whose office burned down.
type RootAccess struct {
	Root        string // a drive's folder, or https://host/bucket/prefix
	Region      string // "" asks the service
	Credentials string // "env" or an owner-only file; "" is "env"
	CAFile      string // certificates to trust beside the system's; "" for none
	Addressing  string // as in the settings of a copy; "" lets the address tell
	// Conn makes of each connection what counts and slows it; nil for none.
	Conn func(net.Conn) net.Conn
}

// IsRoot tells a ROOT given to --from, a folder or an address, from the name
// of a copy. What holds a separator is no name; any other word is one of the
// copies that the settings name, or else a folder that is there.
func IsRoot(from string, copies []string) bool {
	if strings.ContainsAny(from, `/\`) || from == "." || from == ".." || filepath.IsAbs(from) {
		return true
	}
	if from == "" || slices.Contains(copies, from) {
		return false
	}
	info, err := os.Stat(from)
	return err == nil && info.IsDir()
}

// at opens the root.
func (ra RootAccess) Open(ctx context.Context) (*Copy, store.Identity, error) {
	h := &Copy{Copy: ra.At(ra.Root)}
	root, err := h.Copy.Open(ctx)
	if err != nil {
		return nil, store.Identity{}, ra.orNear(ctx, err, nil)
	}
	h.Root = root
	id, err := root.Identity(ctx)
	if errors.Is(err, store.ErrNoRoot) && ctx.Err() == nil {
		// A root that lost its identity still holds the photos.
		if holds, herr := near.Holds(ctx, root); holds && herr == nil {
			err = nil
		} else {
			err = ra.orNear(ctx, err, root)
		}
	}
	if err != nil {
		root.Close()
		return nil, store.Identity{}, err
	}
	h.ID = id.CopyID
	return h, id, nil
}

// At is what settings would say of a root, at a folder or an address.
func (ra RootAccess) At(place string) config.Copy {
	c := config.CopyAt(place)
	c.Region, c.Credentials, c.CAFile, c.Conn = ra.Region, ra.Credentials, ra.CAFile, ra.Conn
	c.Addressing = cmp.Or(ra.Addressing, c.Addressing)
	return c
}

// orNear adds to err, which says that there is no copy, the copies that lie above
// the place or below it, in r.
func (ra RootAccess) orNear(ctx context.Context, err error, r store.Root) error {
	if !errors.Is(err, store.ErrNoRoot) && !errors.Is(err, store.ErrNotHere) {
		return err
	}
	open := func(at string) (store.Root, error) { return ra.At(at).Open(ctx) }
	if at := near.Above(ctx, ra.above(), open); at != "" {
		return fmt.Errorf("%w. It lies in the copy %s: use --from %s", err, manifest.Printable(at), words.Quote(at))
	}
	if r == nil {
		return err
	}
	var found []string
	for _, name := range near.Below(ctx, r) {
		found = append(found, words.Quote(ra.below(name)))
	}
	switch len(found) {
	case 0:
		return err
	case 1:
		return fmt.Errorf("%w. A copy lies below it: use --from %s", err, found[0])
	}
	return fmt.Errorf("%w. Copies lie below it: use --from %s", err, strings.Join(found, " or --from "))
}

// above are the places that this one lies in, the nearest first.
func (ra RootAccess) above() (places []string) {
	if strings.Contains(ra.Root, "://") {
		at := strings.TrimRight(ra.Root, "/")
		for len(places) < 16 {
			i := strings.LastIndexByte(at, '/')
			if i < 0 || strings.HasSuffix(at[:i], "/") {
				break // the host
			}
			at = at[:i]
			places = append(places, at)
		}
		return places
	}
	at, err := filepath.Abs(ra.Root)
	if err != nil {
		return nil
	}
	for up := filepath.Dir(at); up != at; up = filepath.Dir(at) {
		places = append(places, up)
		at = up
	}
	return places
}

// below is how a person calls a folder in this place.
func (ra RootAccess) below(name string) string {
	if strings.Contains(ra.Root, "://") {
		return strings.TrimRight(ra.Root, "/") + "/" + (&url.URL{Path: name}).EscapedPath()
	}
	return filepath.Join(ra.Root, filepath.FromSlash(name))
}
