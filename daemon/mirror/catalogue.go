package mirror

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"sync"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// object is the newest committed version of one site: its inventory and the
// record inside that version.
type object struct {
	slug string
	inv  *manifest.Inventory
	rec  *manifest.Record
	raw  []byte // the record's bytes, which catching up sends on; nil if no copy has them and rec was made anew

	unknown int // paths of which such a rec cannot say more than the size
}

// remade reports that the version's own record is lost.
func (o *object) remade() bool { return o != nil && o.raw == nil }

func (o *object) head() int {
	if o == nil {
		return 0
	}
	return o.inv.Head()
}

// listed is how many paths its versions list together.
func (o *object) listed() (n int) {
	for i := range o.inv.Versions {
		n += len(o.inv.Versions[i].State)
	}
	return n
}

// catalogue hands out inventories: from memory, from the state folder, or from
// any copy in reach, whichever has the bytes the seal names. It keeps only the
// few it used last, since an archive may hold more than fits in memory.
type catalogue struct {
	r      *round
	mu     sync.Mutex
	recent []*object // newest last
}

// keep is how many objects stay decoded in memory, and keepPaths how many paths
// their versions may list together: the newest one always stays.
const (
	keep      = 16
	keepPaths = 30_000
)

// errNoInventory: no copy in reach has the inventory the seal names.
var errNoInventory = errors.New("no copy in reach has this site's manifest")

func newCatalogue(r *round) *catalogue { return &catalogue{r: r} }

// get returns the newest sealed version of slug, checked against the seal.
func (c *catalogue) get(ctx context.Context, slug string) (*object, error) {
	log, _, _ := c.r.look()
	n := log.head(slug)
	if n == 0 {
		return nil, fmt.Errorf("%s: %w", slug, errNoInventory)
	}
	c.mu.Lock()
	for i, o := range c.recent {
		if o.slug == slug && o.head() == n {
			c.recent = append(append(c.recent[:i:i], c.recent[i+1:]...), o)
			c.mu.Unlock()
			return o, nil
		}
	}
	c.mu.Unlock()

	want, _ := c.r.sealed(slug, n)
	if o, err := c.cached(slug, want); err == nil {
		c.remember(o)
		return o, nil
	}
	o, err := c.gather(ctx, slug, n, want)
	if err != nil {
		return nil, err
	}
	if o.raw != nil {
		if err := c.save(o); err != nil {
			return nil, err
		}
	}
	c.remember(o)
	return o, nil
}

// gather reads slug at version n from the copies, each part from whichever has
// it. Where all of them could be asked and none has the record any more, it is
// made anew.
func (c *catalogue) gather(ctx context.Context, slug string, n int, want manifest.Digest) (*object, error) {
	inv, err := c.r.Cache.Get(slug)
	if err != nil || inv.Head() < n || manifest.Sum(inv.Until(n).Encode()) != want {
		inv = nil
	}
	certain := c.r.everyoneAsked()
	for _, from := range c.r.copies {
		if inv != nil || !from.usable() {
			continue
		}
		inv, err = c.fetch(ctx, from, slug, n, want)
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if err != nil {
			inv = nil
		}
	}
	if inv == nil {
		return nil, fmt.Errorf("%s: %w", slug, errNoInventory)
	}
	inv = inv.Until(n)
	for _, from := range c.r.copies {
		if !from.usable() {
			continue
		}
		o, err := readRecord(ctx, from.Root, slug, inv)
		if err == nil {
			return o, nil
		}
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		certain = certain && !fault.Of(err).OfCopy()
	}
	if !certain {
		return nil, fmt.Errorf("%s: %w", slug, errNoInventory)
	}
	return c.r.remake(ctx, slug, inv)
}

// cached reads slug from the state folder; anything but the sealed bytes is as
// good as absent.
func (c *catalogue) cached(slug string, want manifest.Digest) (*object, error) {
	inv, err := c.r.Cache.Get(slug)
	if err != nil {
		return nil, err
	}
	if manifest.Sum(inv.Encode()) != want {
		return nil, fs.ErrNotExist
	}
	raw, err := c.r.Cache.Record(slug)
	if err != nil {
		return nil, err
	}
	return newObject(slug, inv, raw)
}

// fetch reads the inventory of slug at version n from a copy. A copy that is
// further than the seal still serves, cut back to version n.
func (c *catalogue) fetch(ctx context.Context, from *copyRun, slug string, n int, want manifest.Digest) (*manifest.Inventory, error) {
	inv, err := store.Head(ctx, from.Root, slug)
	if err != nil {
		return nil, err
	}
	if inv.Head() < n {
		return nil, fmt.Errorf("%s: %w", slug, fs.ErrNotExist)
	}
	inv = inv.Until(n)
	if manifest.Sum(inv.Encode()) != want {
		return nil, fmt.Errorf("%s on %s differs from the seal", slug, from.Name)
	}
	return inv, nil
}

// readRecord completes inv with its newest record, read from root.
func readRecord(ctx context.Context, root store.Root, slug string, inv *manifest.Inventory) (*object, error) {
	d := inv.State(inv.Head())[manifest.RecordPath]
	err := fmt.Errorf("%s: its record is damaged", slug)
	for _, p := range inv.Content[d] {
		raw, _, rerr := store.ReadSmall(ctx, root, slug+"/"+p, manifest.MaxRecord)
		if rerr != nil {
			err = rerr
		} else if manifest.Sum(raw) == d {
			return newObject(slug, inv, raw)
		}
	}
	return nil, err
}

func newObject(slug string, inv *manifest.Inventory, raw []byte) (*object, error) {
	if manifest.Sum(raw) != inv.State(inv.Head())[manifest.RecordPath] {
		return nil, fmt.Errorf("%s: %w", slug, fs.ErrNotExist)
	}
	rec, err := manifest.DecodeRecord(raw)
	if err != nil {
		return nil, err
	}
	return &object{slug: slug, inv: inv, rec: rec, raw: raw}, nil
}

// save puts o into the state folder's cache.
func (c *catalogue) save(o *object) error {
	if err := c.r.Cache.PutRecord(o.slug, o.raw); err != nil {
		return fmt.Errorf("caching the record of %s: %w", o.slug, err)
	}
	if err := c.r.Cache.Put(o.slug, o.inv.Encode()); err != nil {
		return fmt.Errorf("caching the manifest of %s: %w", o.slug, err)
	}
	return nil
}

func (c *catalogue) remember(o *object) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for i, x := range c.recent {
		if x.slug == o.slug {
			c.recent = append(c.recent[:i:i], c.recent[i+1:]...)
			break
		}
	}
	c.recent = append(c.recent, o)
	listed := 0
	for i := len(c.recent) - 1; i >= 0; i-- {
		listed += c.recent[i].listed()
		if i < len(c.recent)-1 && (listed > keepPaths || len(c.recent)-i > keep) {
			c.recent = slices.Clone(c.recent[i+1:])
			break
		}
	}
}
