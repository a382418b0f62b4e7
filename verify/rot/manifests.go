package rot

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"slices"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// pair is an inventory and its sidecar as the copy has them.
type pair struct {
	inv, side       []byte
	invErr, sideErr error
	remembered      bool // not read now
}

// whole reports whether the two agree.
func (p pair) whole() bool {
	return p.invErr == nil && p.sideErr == nil && manifest.CheckSidecar(p.inv, p.side) == nil
}

func (r *check) readPair(ctx context.Context, slug, invPath, sidePath string) pair {
	var p pair
	p.inv, p.invErr = r.readSmall(ctx, slug, invPath, manifest.MaxInventory)
	p.side, p.sideErr = r.readSmall(ctx, slug, sidePath, largestSmall)
	return p
}

// readSmall reads a file of ours past the page cache; once more where the
// service says that the link changed it.
func (r *check) readSmall(ctx context.Context, slug, path string, limit int64) ([]byte, error) {
	b, reported, err := r.readOnce(ctx, slug, path, limit)
	if err == nil && !reported.IsZero() && reported != manifest.Sum(b) {
		b, _, err = r.readOnce(ctx, slug, path, limit)
	}
	return b, err
}

func (r *check) readOnce(ctx context.Context, slug, path string, limit int64) (b []byte, reported manifest.Digest, err error) {
	f, info, err := r.c.Root.OpenFresh(ctx, slug+"/"+path)
	if err != nil {
		return nil, reported, err
	}
	defer f.Close()
	if info.Size > limit {
		return nil, reported, fmt.Errorf("it has %s, more than the %s it may have", words.Size(info.Size), words.Size(limit))
	}
	b, err = manifest.ReadUpTo(f, limit)
	r.downloaded(int64(len(b)))
	r.progress(int64(len(b)))
	return b, info.SHA256, err
}

func (r *check) downloaded(n int64) {
	if !r.c.Root.Can().Metered {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.report.Downloaded += n
}

// verdict is what the manifests of an object came to.
type verdict struct {
	claimed    int  // the newest version this copy has, or had
	unreadable bool // no manifest could be read
	another    bool // the folder is a copy of another object's
}

// versions checks the inventories of an object and chooses the one its files
// are held against.
//
// The newest version a copy claims is the highest that has a sidecar, which is
// written last, whatever rot made of it since; or that its root pair shows, or
// that was seen committed there before: a version that went is damage, one that
// never came is not. Above it, whatever lies there is being built.
func (r *check) versions(ctx context.Context, o *object, files map[string]store.Info, listed bool) verdict {
	exp := o.exp
	top, cheap := r.rememberedPair(o, files, inventoryFile, sidecarFile, exp, 0)
	if !cheap {
		top = r.readPair(ctx, o.slug, inventoryFile, sidecarFile)
	}
	if r.over(ctx, top.invErr) || r.over(ctx, top.sideErr) {
		return verdict{}
	}
	topInv := decodeWhole(top)
	if topInv != nil && topInv.Slug() != o.slug {
		if exp == nil && r.heads[o.slug] == 0 {
			return verdict{another: true}
		}
		topInv = nil
	}

	known := r.o.Had[o.slug]
	if topInv != nil {
		known = max(known, topInv.Head())
	}
	if !listed && topInv == nil {
		if inv, err := store.Head(ctx, r.c.Root, o.slug); err == nil {
			known = max(known, inv.Head())
		}
	}
	for p := range o.held {
		if p == versionFile(verify.VersionOf(p), inventoryFile) {
			known = max(known, verify.VersionOf(p))
		}
	}
	highest := max(known, r.highestListed(ctx, o, files, known))
	pairs := map[int]pair{}
	var head *manifest.Inventory
	claimed := 0
	for n := highest; n > 0; n-- {
		p, cheap := r.rememberedPair(o, files, versionFile(n, inventoryFile), versionFile(n, sidecarFile), exp, n)
		if !cheap {
			p = r.readPair(ctx, o.slug, versionFile(n, inventoryFile), versionFile(n, sidecarFile))
		}
		if r.over(ctx, p.invErr) || r.over(ctx, p.sideErr) {
			return verdict{}
		}
		pairs[n] = p
		inv := decodeWhole(p)
		if inv != nil && (inv.Head() != n || inv.Slug() != o.slug) {
			inv = nil
		}
		_, remembered := o.held[versionFile(n, inventoryFile)]
		if head == nil && inv != nil {
			head = inv
		}
		if inv != nil || remembered || n <= r.o.Had[o.slug] || (topInv != nil && n <= topInv.Head()) || !errors.Is(p.sideErr, fs.ErrNotExist) {
			claimed = max(claimed, n)
		}
	}
	if claimed == 0 {
		return r.noVersions(ctx, o, files, listed, top, exp)
	}
	o.inv = reference(claimed, head, topInv, exp)
	if o.inv == nil {
		r.damaged(ctx, o, verify.Damage{Object: o.slug, Content: versionFile(claimed, inventoryFile), Path: verify.InventoryPath, Version: claimed,
			Kind: verify.Altered, Detail: "no manifest of this site is readable here, and no other copy's was at hand"})
		return verdict{claimed: claimed, unreadable: true}
	}
	for n := 1; n <= claimed; n++ {
		r.version(ctx, o, n, pairs[n], files)
	}
	r.derived(ctx, o, top, files, listed)
	return verdict{claimed: claimed}
}

// noVersions is the verdict on a folder without any committed version.
func (r *check) noVersions(ctx context.Context, o *object, files map[string]store.Info, listed bool, top pair, exp *manifest.Inventory) verdict {
	if exp != nil || r.heads[o.slug] > 0 {
		for _, err := range []error{top.invErr, top.sideErr} {
			if err != nil && !errors.Is(err, fs.ErrNotExist) {
				r.damaged(ctx, o, verify.Damage{Object: o.slug, Content: inventoryFile, Path: verify.InventoryPath, Kind: verify.Unreadable, Detail: plain(err)})
				return verdict{unreadable: true}
			}
		}
	}
	return verdict{unreadable: !listed}
}

// reference chooses the inventory to hold a copy against: the newest known
// anywhere, as long as this copy's own is a beginning of it; else its own.
func reference(claimed int, head, top, exp *manifest.Inventory) *manifest.Inventory {
	own := head
	if top != nil && (own == nil || top.Head() > own.Head()) {
		own = top
	}
	if exp != nil && exp.Head() >= claimed {
		if own == nil || bytes.Equal(exp.Until(own.Head()).Encode(), own.Encode()) {
			return exp.Until(claimed)
		}
	}
	return own
}

// version checks one version's inventory and sidecar.
func (r *check) version(ctx context.Context, o *object, n int, p pair, files map[string]store.Info) {
	want := o.inv.Until(n).Encode()
	d := verify.Damage{Object: o.slug, Path: verify.InventoryPath, Version: n, Content: versionFile(n, inventoryFile)}
	if n > o.inv.Head() {
		d.Kind, d.Detail = verify.Altered, "this version's manifest is damaged, and no other copy's was at hand to tell what it held"
		r.damaged(ctx, o, d)
		return
	}
	sealed, inSeal := r.sealed[o.inv.ID][n]
	switch {
	case p.invErr != nil:
		d.Kind, d.Detail = kindOf(p.invErr), "the version's manifest: "+plain(p.invErr)
		if d.Kind == verify.Gone {
			d.Detail = "the version's manifest is not on this copy"
		}
		r.damaged(ctx, o, d)
	case p.whole() && (!bytes.Equal(p.inv, want) || (inSeal && manifest.Sum(p.inv) != sealed)):
		// It agrees with itself, so no rot made it: someone wrote it.
		if r.isLate(ctx, version{o.inv.ID, n, manifest.Sum(p.inv)}) {
			if o.late == 0 {
				o.late = n
			}
			return
		}
		d.Kind, d.Detail = verify.Altered, verify.Rewritten+": it agrees with its own sidecar, and not with the seal or the later versions"
		r.damaged(ctx, o, d)
		return
	case !bytes.Equal(p.inv, want):
		d.Kind, d.Detail = verify.Altered, differs(int64(len(p.inv)), int64(len(want)))
		r.damaged(ctx, o, d)
	default:
		r.rememberOurs(ctx, o, d.Content, want, p, files)
	}
	d.Content = versionFile(n, sidecarFile)
	switch side := manifest.Sidecar(want); {
	case p.sideErr != nil:
		d.Kind, d.Detail = kindOf(p.sideErr), "the .sha256 file of the version's manifest: "+plain(p.sideErr)
		if d.Kind == verify.Gone {
			d.Detail = "the .sha256 file of the version's manifest is not on this copy"
		}
		r.damaged(ctx, o, d)
	case !bytes.Equal(p.side, side):
		d.Kind, d.Detail = verify.Altered, "the .sha256 file of the version's manifest: "+differs(int64(len(p.side)), int64(len(side)))
		r.damaged(ctx, o, d)
	default:
		r.rememberOurs(ctx, o, d.Content, side, p, files)
	}
}

// rememberOurs remembers an inventory or a sidecar that was read and is right. One that
// was not read now is read again in its turn, within the allowance.
func (r *check) rememberOurs(ctx context.Context, o *object, path string, b []byte, p pair, files map[string]store.Info) {
	if p.remembered {
		if r.chosen != nil {
			r.hand(ctx, job{object: o, path: path, want: manifest.Sum(b), info: files[path], listed: true, ours: true})
		}
		return
	}
	r.remember(o, verify.Held{Path: path, SHA256: manifest.Sum(b), Size: int64(len(b)), ETag: files[path].ETag, ReadBack: r.now})
}

// rememberedPair makes up an inventory and its sidecar on S3 without
// downloading them: both were read back once, the listing shows them unchanged
// since, and what they hold is known. n is the version, 0 for the newest.
func (r *check) rememberedPair(o *object, files map[string]store.Info, invPath, sidePath string, exp *manifest.Inventory, n int) (pair, bool) {
	if !r.c.Root.Can().Tagged || exp == nil || (!r.o.Quick && r.o.Allowance < 0) {
		return pair{}, false
	}
	if n == 0 {
		n = exp.Head()
	}
	inv := exp.Until(n).Encode()
	side := manifest.Sidecar(inv)
	for path, b := range map[string][]byte{invPath: inv, sidePath: side} {
		h, info := o.held[path], files[path]
		if h.ReadBack.IsZero() || h.ETag == "" || h.ETag != info.ETag || h.Size != info.Size || h.SHA256 != manifest.Sum(b) {
			return pair{}, false
		}
	}
	return pair{inv: inv, side: side, remembered: true}, true
}

// derived looks at what is made from the newest version: a root pair that lags
// or a missing 0= file is unfinished, not damaged.
func (r *check) derived(ctx context.Context, o *object, top pair, files map[string]store.Info, listed bool) {
	want := o.inv.Encode()
	if bytes.Equal(top.inv, want) {
		r.rememberOurs(ctx, o, inventoryFile, want, top, files)
		r.rememberOurs(ctx, o, sidecarFile, top.side, top, files)
	}
	unfinished := !bytes.Equal(top.inv, want) || !bytes.Equal(top.side, manifest.Sidecar(want))
	for path, err := range map[string]error{inventoryFile: top.invErr, sidecarFile: top.sideErr} {
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			r.damaged(ctx, o, verify.Damage{Object: o.slug, Path: verify.InventoryPath, Version: o.inv.Head(), Content: path, Kind: verify.Unreadable, Detail: plain(err)})
			unfinished = false
		}
	}
	if _, ok := files[namasteFile]; listed && !ok {
		unfinished = true
	}
	if unfinished {
		r.unfinished(o)
	}
}

func (r *check) unfinished(o *object) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.report.Unfinished = append(r.report.Unfinished, o.slug)
}

// decodeWhole is the inventory of a pair that agrees with itself, else nil.
func decodeWhole(p pair) *manifest.Inventory {
	if !p.whole() {
		return nil
	}
	inv, err := manifest.DecodeInventory(p.inv)
	if err != nil {
		return nil
	}
	return inv
}

// highestListed is the highest version whose folder has an inventory or its
// sidecar. A number that nothing bears out is somebody's invention: versions have
// no gaps, but for folders that were lost, and then the inventory above tells.
func (r *check) highestListed(ctx context.Context, o *object, files map[string]store.Info, known int) int {
	listed := map[int]bool{}
	for p := range files {
		if n := verify.VersionOf(p); n > 0 && (p == versionFile(n, inventoryFile) || p == versionFile(n, sidecarFile)) {
			listed[n] = true
		}
	}
	borne := max(known, len(listed))
	if o.exp != nil {
		borne = max(borne, o.exp.Head())
	}
	for _, n := range slices.Backward(slices.Sorted(maps.Keys(listed))) {
		if n <= borne {
			return n
		}
		inv := decodeWhole(r.readPair(ctx, o.slug, versionFile(n, inventoryFile), versionFile(n, sidecarFile)))
		if inv != nil && inv.Slug() == o.slug && inv.Head() == n || ctx.Err() != nil {
			return n
		}
	}
	return 0
}
