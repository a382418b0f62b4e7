// Package sites has the two sides of a site that a round compares: [Object], its
// newest version on record, and [Group], what the working folder shows of it. Call
// [Catalogue.Get] for the one and [Groups] for the other.
//
// A record that no copy has any more is made anew (remake.go).
package sites

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"sync"

	"linecamp/daemon/authority"
	"linecamp/daemon/ledger"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/tally"
	"linecamp/verify"
)

// Object is the newest committed version of one site: its inventory and the
// record inside that version.
type Object struct {
	Slug string
	Inv  *manifest.Inventory
	Rec  *manifest.Record
	Raw  []byte // the record's bytes, which catching up sends on; nil if no copy has them and rec was made anew

	Unknown int // paths of which such a rec cannot say more than the size
}

// Remade reports that the version's own record is lost.
func (o *Object) Remade() bool { return o != nil && o.Raw == nil }

// Head is the number of its newest version, 0 for no object.
func (o *Object) Head() int {
	if o == nil {
		return 0
	}
	return o.Inv.Head()
}

// listed is how many paths its versions list together.
func (o *Object) listed() (n int) {
	for i := range o.Inv.Versions {
		n += len(o.Inv.Versions[i].State)
	}
	return n
}

// PeoplesPath is a path people know the digest by, as of version n.
func (o *Object) PeoplesPath(n int, d manifest.Digest) string {
	best := d.String()
	for logical, x := range o.Inv.State(n) {
		if x == d && (best == d.String() || logical < best) {
			best = logical
		}
	}
	if o.Rec.Base != "" {
		return o.Rec.Base + "/" + best
	}
	return best
}

// BytesOf is the size of the given content, as far as the newest record knows.
func (o *Object) BytesOf(content map[manifest.Digest]string) (n int64) {
	counted := map[manifest.Digest]bool{}
	for logical, d := range o.Inv.State(o.Head()) {
		if _, ok := content[d]; ok && !counted[d] {
			counted[d] = true
			n += o.Rec.Paths[logical].Bytes
		}
	}
	return n
}

// Label names the site for people.
func (o *Object) Label() string {
	return verify.Site{Object: o.Slug, Site: o.Rec.Site, Pasture: o.Rec.Pasture}.Label()
}

// Catalogue hands out inventories: from memory, from the state folder, or from
// any copy in reach, whichever has the bytes the seal names. It keeps only the
// few it used last, since an archive may hold more than fits in memory.
type Catalogue struct {
	Cache  *ledger.Inventories
	Tally  *tally.Result // nil where this computer only keeps the archive
	Copies []authority.Copy
	Log    func() *authority.Log // as it is now

	mu     sync.Mutex
	recent []sealed // newest last
}

// sealed is an object with the digest of its inventory. The number of a version does
// not tell which one it is: one that was lost gives its number to another.
type sealed struct {
	*Object
	sum manifest.Digest
}

// keep is how many objects stay decoded in memory, and keepPaths how many paths
// their versions may list together: the newest one always stays.
const (
	keep      = 16
	keepPaths = 30_000
)

// ErrNoInventory: no copy in reach has the inventory the seal names.
var ErrNoInventory = errors.New("no copy in reach has this site's manifest")

// Get returns the newest sealed version of slug, checked against the seal.
func (c *Catalogue) Get(ctx context.Context, slug string) (*Object, error) {
	log := c.Log()
	n := log.Head(slug)
	if n == 0 {
		return nil, fmt.Errorf("%s: %w", slug, ErrNoInventory)
	}
	want, _ := log.Inventory(slug, n)
	c.mu.Lock()
	for i, o := range c.recent {
		if o.Slug == slug && o.sum == want {
			c.recent = append(append(c.recent[:i:i], c.recent[i+1:]...), o)
			c.mu.Unlock()
			return o.Object, nil
		}
	}
	c.mu.Unlock()

	if o, err := c.cached(slug, want); err == nil {
		c.Remember(o, want)
		return o, nil
	}
	o, err := c.gather(ctx, slug, n, want)
	if err != nil {
		return nil, err
	}
	if o.Raw != nil {
		if err := c.Save(o); err != nil {
			return nil, err
		}
	}
	c.Remember(o, want)
	return o, nil
}

// gather reads slug at version n from the copies, each part from whichever has
// it. Where all of them could be asked and none has the record any more, it is
// made anew.
func (c *Catalogue) gather(ctx context.Context, slug string, n int, want manifest.Digest) (*Object, error) {
	inv, err := c.Cache.Get(slug)
	if err != nil || inv.Head() < n || manifest.Sum(inv.Until(n).Encode()) != want {
		inv = nil
	}
	certain := !slices.ContainsFunc(c.Copies, func(from authority.Copy) bool { return !from.Usable() })
	for _, from := range c.Copies {
		if inv != nil || !from.CanRead() {
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
		return nil, fmt.Errorf("%s: %w", slug, ErrNoInventory)
	}
	inv = inv.Until(n)
	for _, from := range c.Copies {
		if !from.CanRead() {
			continue
		}
		o, err := ReadRecord(ctx, from.Root, slug, inv)
		if err == nil {
			return o, nil
		}
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		certain = certain && !fault.Of(err).OfCopy()
	}
	if !certain {
		return nil, fmt.Errorf("%s: %w", slug, ErrNoInventory)
	}
	return c.remake(ctx, slug, inv)
}

// cached reads slug from the state folder; anything but the sealed bytes is as
// good as absent.
func (c *Catalogue) cached(slug string, want manifest.Digest) (*Object, error) {
	inv, err := c.Cache.Get(slug)
	if err != nil {
		return nil, err
	}
	if manifest.Sum(inv.Encode()) != want {
		return nil, fs.ErrNotExist
	}
	raw, err := c.Cache.Record(slug)
	if err != nil {
		return nil, err
	}
	return newObject(slug, inv, raw)
}

// fetch reads the inventory of slug at version n from a copy. A copy that is
// further than the seal still serves, cut back to version n; and so does a bucket where
// the round that brought the version ended before the sidecar, which commits it.
func (c *Catalogue) fetch(ctx context.Context, from authority.Copy, slug string, n int, want manifest.Digest) (*manifest.Inventory, error) {
	inv, err := store.Head(ctx, from.Root, slug)
	if err != nil && !errors.Is(err, store.ErrNoObject) {
		return nil, err
	}
	if err != nil || inv.Head() < n {
		raw, _, err := store.ReadSmall(ctx, from.Root, store.VersionFile(slug, n, store.InventoryName), manifest.MaxInventory)
		if err != nil {
			return nil, err
		}
		if inv, err = manifest.DecodeInventory(raw); err != nil {
			return nil, err
		}
	}
	if inv.Head() >= n {
		inv = inv.Until(n)
	}
	if manifest.Sum(inv.Encode()) != want {
		return nil, fmt.Errorf("%s on %s differs from the seal", slug, from.Name)
	}
	return inv, nil
}

// ReadRecord completes inv with its newest record, read from root.
func ReadRecord(ctx context.Context, root store.Root, slug string, inv *manifest.Inventory) (*Object, error) {
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

func newObject(slug string, inv *manifest.Inventory, raw []byte) (*Object, error) {
	if manifest.Sum(raw) != inv.State(inv.Head())[manifest.RecordPath] {
		return nil, fault.Say(fs.ErrNotExist, "%s: it is not there", slug)
	}
	rec, err := manifest.DecodeRecord(raw)
	if err != nil {
		return nil, err
	}
	return &Object{Slug: slug, Inv: inv, Rec: rec, Raw: raw}, nil
}

// Save puts o into the state folder's cache.
func (c *Catalogue) Save(o *Object) error {
	if err := c.Cache.PutRecord(o.Slug, o.Raw); err != nil {
		return fmt.Errorf("caching the record of %s: %w", o.Slug, err)
	}
	if err := c.Cache.Put(o.Slug, o.Inv.Encode()); err != nil {
		return fmt.Errorf("caching the manifest of %s: %w", o.Slug, err)
	}
	return nil
}

// Remember keeps o, whose inventory has the given digest, at hand for the next Get.
func (c *Catalogue) Remember(o *Object, sum manifest.Digest) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for i, x := range c.recent {
		if x.Slug == o.Slug {
			c.recent = append(c.recent[:i:i], c.recent[i+1:]...)
			break
		}
	}
	c.recent = append(c.recent, sealed{o, sum})
	listed := 0
	for i := len(c.recent) - 1; i >= 0; i-- {
		listed += c.recent[i].listed()
		if i < len(c.recent)-1 && (listed > keepPaths || len(c.recent)-i > keep) {
			c.recent = slices.Clone(c.recent[i+1:])
			break
		}
	}
}
