package verify

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strconv"
	"strings"
	"sync"

	"linecamp/manifest"
	"linecamp/manifest/store"
)

const (
	inventoryFile = "inventory.json"
	sidecarFile   = "inventory.json.sha256"
	namasteFile   = "0=ocfl_object_1.1" // OCFL 1.1 section 3.3
	largestSmall  = 64 << 10
)

// object is one object of the copy while it is checked.
type object struct {
	slug string
	inv  *manifest.Inventory // what the copy is held against
	exp  *manifest.Inventory // the newest known anywhere; may be nil
	held map[string]Held     // what was remembered, by content path

	nameOnce sync.Once
	record   *manifest.Record
	newest   map[manifest.Digest]manifest.Held // by digest: newest path and version

	mu      sync.Mutex
	found   []Held // to be remembered
	pending int    // jobs not done, and one while jobs are still added
}

// object checks one object: its manifests here and now, its files by handing
// out jobs. files are the keys below it; listed is false where they could not
// be listed to the end, and then nothing is called stray.
func (r *rot) object(ctx context.Context, slug string, files map[string]store.Info, listed bool) {
	o := &object{slug: slug, pending: 1}
	defer o.finish(r)
	if r.o.Memory != nil {
		held, err := r.o.Memory.Held(r.c.Key(), slug)
		if err == nil {
			o.held = held
		}
	}
	r.mu.Lock()
	r.live[o] = true
	r.mu.Unlock()
	o.exp = r.expected(slug)
	v := r.versions(ctx, o, files, listed)
	if ctx.Err() != nil {
		return
	}
	if v.unreadable {
		return // reported; what lies below it cannot be judged
	}
	want := r.heads[slug]
	if o.exp != nil {
		want = max(want, o.exp.Head())
	}
	if v.claimed < want {
		site := slug
		if v.claimed > 0 {
			site = o.label(ctx, r)
		}
		r.mu.Lock()
		r.report.Behind = append(r.report.Behind, Behind{Object: slug, Site: site, Have: v.claimed, Want: want})
		r.mu.Unlock()
	}
	if v.claimed == 0 && want == 0 && !building(files) {
		r.strayFolder(slug, files)
		return
	}
	if v.claimed > 0 {
		r.mu.Lock()
		r.report.Heads[slug] = v.claimed
		r.mu.Unlock()
	}
	known := map[string]bool{namasteFile: true, inventoryFile: true, sidecarFile: true}
	if o.inv != nil {
		r.content(ctx, o, files, listed, known)
	}
	if !listed || ctx.Err() != nil {
		return // what was not looked up in the manifest is no stray
	}
	for p, info := range files {
		if known[p] {
			continue
		}
		n := versionOf(p)
		switch {
		case n > v.claimed:
			continue // being built
		case n > 0 && (p == versionFile(n, inventoryFile) || p == versionFile(n, sidecarFile)):
			continue
		}
		r.stray(o.label(ctx, r), slug, p, info)
	}
}

// building reports whether a folder looks like an object before its first
// commit.
func building(files map[string]store.Info) bool {
	for p := range files {
		if strings.HasPrefix(p, "v1/content/") || p == versionFile(1, inventoryFile) {
			return true
		}
	}
	return false
}

// content hands out a job for each file the manifest names.
func (r *rot) content(ctx context.Context, o *object, files map[string]store.Info, listed bool, known map[string]bool) {
	people := peoples(o.inv)
	for d, paths := range o.inv.Content {
		for _, p := range paths {
			known[p] = true
			info, there := files[p]
			j := job{object: o, path: p, want: d, info: info, people: people[d]}
			if listed && there {
				r.expectShare(j, info.Size)
			} else {
				r.expectShare(j, o.held[p].Size)
			}
			if listed && !there {
				r.damaged(ctx, o, Damage{Object: o.slug, Content: p, Kind: Gone, Detail: "it is not on this copy",
					digest: d, people: j.people, size: o.held[p].Size})
				continue
			}
			j.listed = listed
			if !r.hand(ctx, j) {
				return
			}
		}
	}
}

// expectShare counts a file the copy should hold.
func (r *rot) expectShare(j job, size int64) {
	if !j.people {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.report.Files++
	r.report.Bytes += size
}

// peoples are the digests that some version has under a path of people.
func peoples(inv *manifest.Inventory) map[manifest.Digest]bool {
	out := make(map[manifest.Digest]bool, len(inv.Content))
	for _, v := range inv.Versions {
		for p, d := range v.State {
			if !manifest.Reserved(p) {
				out[d] = true
			}
		}
	}
	return out
}

func versionFile(n int, name string) string { return "v" + strconv.Itoa(n) + "/" + name }

// versionOf is the number of the version folder a path lies in; 0 for none.
func versionOf(p string) int {
	first, _, ok := strings.Cut(p, "/")
	if !ok || len(first) < 2 || first[0] != 'v' || first[1] == '0' {
		return 0
	}
	n, err := strconv.Atoi(first[1:])
	if err != nil || n < 1 {
		return 0
	}
	return n
}

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

func (r *rot) readPair(ctx context.Context, slug, invPath, sidePath string) pair {
	var p pair
	p.inv, p.invErr = r.readSmall(ctx, slug, invPath, manifest.MaxInventory)
	p.side, p.sideErr = r.readSmall(ctx, slug, sidePath, largestSmall)
	return p
}

// readSmall reads a file of ours past the page cache.
func (r *rot) readSmall(ctx context.Context, slug, path string, limit int64) ([]byte, error) {
	f, _, err := r.c.Root.OpenFresh(ctx, slug+"/"+path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	b, err := readLimited(f, limit)
	r.downloaded(int64(len(b)))
	r.progress(int64(len(b)))
	return b, err
}

func (r *rot) downloaded(n int64) {
	if r.c.Root.Kind() != "s3" {
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
}

// versions checks the inventories of an object and chooses the one its files
// are held against.
//
// The newest version a copy claims is the highest that is committed, or that
// its root pair shows, or that was seen committed there before: a version
// folder lost to rot is damage, one that never came is not. Above it, whatever
// lies there is being built.
func (r *rot) versions(ctx context.Context, o *object, files map[string]store.Info, listed bool) verdict {
	exp := o.exp
	top, cheap := r.rememberedPair(o, files, inventoryFile, sidecarFile, exp, 0)
	if !cheap {
		top = r.readPair(ctx, o.slug, inventoryFile, sidecarFile)
	}
	if ctx.Err() != nil {
		return verdict{}
	}
	for _, err := range []error{top.invErr, top.sideErr} {
		if err != nil && copyFault(err) {
			r.stop(fmt.Errorf("%s: %w: %w", r.c.Name, ErrStopped, err))
			return verdict{}
		}
	}
	topInv := decodeWhole(top)

	highest := highestVersion(files)
	if topInv != nil {
		highest = max(highest, topInv.Head())
	}
	if !listed && topInv == nil {
		if inv, err := store.Head(ctx, r.c.Root, o.slug); err == nil {
			highest = max(highest, inv.Head())
		}
	}
	for p := range o.held {
		if p == versionFile(versionOf(p), inventoryFile) {
			highest = max(highest, versionOf(p))
		}
	}
	pairs := map[int]pair{}
	var head *manifest.Inventory
	claimed := 0
	for n := highest; n > 0; n-- {
		p, cheap := r.rememberedPair(o, files, versionFile(n, inventoryFile), versionFile(n, sidecarFile), exp, n)
		if !cheap {
			p = r.readPair(ctx, o.slug, versionFile(n, inventoryFile), versionFile(n, sidecarFile))
		}
		if ctx.Err() != nil {
			return verdict{}
		}
		pairs[n] = p
		inv := decodeWhole(p)
		if inv != nil && inv.Head() != n {
			inv = nil
		}
		_, remembered := o.held[versionFile(n, inventoryFile)]
		if head == nil && inv != nil {
			head = inv
		}
		if inv != nil || remembered || (topInv != nil && n <= topInv.Head()) || p.whole() {
			claimed = max(claimed, n)
		}
	}
	if claimed == 0 {
		return r.noVersions(ctx, o, files, listed, top, exp)
	}
	o.inv = reference(claimed, head, topInv, exp)
	if o.inv == nil {
		r.damaged(ctx, o, Damage{Object: o.slug, Content: versionFile(claimed, inventoryFile), Path: InventoryPath, Version: claimed,
			Kind: Altered, Detail: "no manifest of this site is readable here, and no other copy's was at hand"})
		return verdict{claimed: claimed, unreadable: true}
	}
	for n := 1; n <= claimed; n++ {
		r.version(ctx, o, n, pairs[n], files)
	}
	r.derived(ctx, o, top, files, listed)
	return verdict{claimed: claimed}
}

// noVersions is the verdict on a folder without any committed version.
func (r *rot) noVersions(ctx context.Context, o *object, files map[string]store.Info, listed bool, top pair, exp *manifest.Inventory) verdict {
	if exp != nil || r.heads[o.slug] > 0 {
		for _, err := range []error{top.invErr, top.sideErr} {
			if err != nil && !errors.Is(err, fs.ErrNotExist) {
				r.damaged(ctx, o, Damage{Object: o.slug, Content: inventoryFile, Path: InventoryPath, Kind: Unreadable, Detail: plain(err)})
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
func (r *rot) version(ctx context.Context, o *object, n int, p pair, files map[string]store.Info) {
	want := o.inv.Until(n).Encode()
	d := Damage{Object: o.slug, Path: InventoryPath, Version: n, Content: versionFile(n, inventoryFile)}
	if n > o.inv.Head() {
		d.Kind, d.Detail = Altered, "this version's manifest is damaged, and no other copy's was at hand to tell what it held"
		r.damaged(ctx, o, d)
		return
	}
	sealed, inSeal := r.sealed[o.inv.ID][n]
	switch {
	case p.invErr != nil:
		d.Kind, d.Detail = kindOf(p.invErr), "the version's inventory: "+plain(p.invErr)
		if d.Kind == Gone {
			d.Detail = "the version's inventory is not on this copy"
		}
		r.damaged(ctx, o, d)
	case p.whole() && (!bytes.Equal(p.inv, want) || (inSeal && manifest.Sum(p.inv) != sealed)):
		// It agrees with itself, so no rot made it: someone wrote it.
		d.Kind, d.Detail = Altered, Rewritten+": it agrees with its own sidecar, and not with the seal or the later versions"
		r.damaged(ctx, o, d)
		return
	case !bytes.Equal(p.inv, want):
		d.Kind, d.Detail = Altered, differs(int64(len(p.inv)), int64(len(want)))
		r.damaged(ctx, o, d)
	default:
		r.rememberOurs(o, d.Content, want, p, files)
	}
	d.Content = versionFile(n, sidecarFile)
	switch side := manifest.Sidecar(want); {
	case p.sideErr != nil:
		d.Kind, d.Detail = kindOf(p.sideErr), "the sidecar of the version's inventory: "+plain(p.sideErr)
		if d.Kind == Gone {
			d.Detail = "the sidecar of the version's inventory is not on this copy"
		}
		r.damaged(ctx, o, d)
	case !bytes.Equal(p.side, side):
		d.Kind, d.Detail = Altered, "the sidecar of the version's inventory "+differs(int64(len(p.side)), int64(len(side)))
		r.damaged(ctx, o, d)
	default:
		r.rememberOurs(o, d.Content, side, p, files)
	}
}

// rememberOurs remembers an inventory or a sidecar that was read and is right.
func (r *rot) rememberOurs(o *object, path string, b []byte, p pair, files map[string]store.Info) {
	if p.remembered {
		return
	}
	r.remember(o, Held{Path: path, SHA256: manifest.Sum(b), Size: int64(len(b)), ETag: files[path].ETag, ReadBack: r.now})
}

// rememberedPair makes up an inventory and its sidecar on S3 without
// downloading them: both were read back once, the listing shows them unchanged
// since, and what they hold is known. n is the version, 0 for the newest.
func (r *rot) rememberedPair(o *object, files map[string]store.Info, invPath, sidePath string, exp *manifest.Inventory, n int) (pair, bool) {
	if r.c.Root.Kind() != "s3" || exp == nil || (!r.o.Quick && r.o.Allowance < 0) {
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

// Rewritten begins the Detail of an inventory that was not damaged but replaced:
// it agrees with its sidecar, and not with the rest of the archive. It is never
// mended; the copy wants a new root.
const Rewritten = "rewritten"

// derived looks at what is made from the newest version: a root pair that lags
// or a missing 0= file is unfinished, not damaged.
func (r *rot) derived(ctx context.Context, o *object, top pair, files map[string]store.Info, listed bool) {
	want := o.inv.Encode()
	if !top.remembered && bytes.Equal(top.inv, want) {
		r.rememberOurs(o, inventoryFile, want, top, files)
		r.rememberOurs(o, sidecarFile, top.side, top, files)
	}
	unfinished := !bytes.Equal(top.inv, want) || !bytes.Equal(top.side, manifest.Sidecar(want))
	for _, e := range []struct {
		err  error
		path string
	}{{top.invErr, inventoryFile}, {top.sideErr, sidecarFile}} {
		if e.err != nil && !errors.Is(e.err, fs.ErrNotExist) {
			r.damaged(ctx, o, Damage{Object: o.slug, Path: InventoryPath, Version: o.inv.Head(), Content: e.path, Kind: Unreadable, Detail: plain(e.err)})
			unfinished = false
		}
	}
	if _, ok := files[namasteFile]; listed && !ok {
		unfinished = true
	}
	if unfinished {
		r.mu.Lock()
		defer r.mu.Unlock()
		r.report.Unfinished = append(r.report.Unfinished, o.slug)
	}
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

// highestVersion is the highest version folder that has an inventory or its
// sidecar.
func highestVersion(files map[string]store.Info) int {
	highest := 0
	for p := range files {
		if n := versionOf(p); n > highest && (p == versionFile(n, inventoryFile) || p == versionFile(n, sidecarFile)) {
			highest = n
		}
	}
	return highest
}

// name fills in what people call a damaged file.
func (o *object) name(ctx context.Context, r *rot, d *Damage) {
	d.Site = o.label(ctx, r)
	if d.Path != "" {
		return
	}
	held, ok := o.newest[d.digest]
	if !ok {
		d.Path, d.Version = d.Content, versionOf(d.Content)
		return
	}
	d.Path, d.Version = held.Path, held.Version
	if o.record != nil && o.record.Base != "" && !manifest.Reserved(held.Path) {
		d.Path = o.record.Base + "/" + held.Path
	}
}

// label names the object's site. The record and the names of all digests are
// read when the first of them is needed.
func (o *object) label(ctx context.Context, r *rot) string {
	o.nameOnce.Do(func() {
		if o.inv == nil {
			return
		}
		rs := Records{Inventory: o.inv, Roots: []store.Root{r.c.Root}}
		o.record, _ = rs.Newest(ctx)
		o.newest = newestPaths(o.inv)
	})
	if o.record == nil {
		return o.slug
	}
	return SiteOf(o.slug, o.record).Name()
}

// newestPaths finds for each digest the newest version that has it, and the
// first path there in byte order; people's paths before reserved ones.
func newestPaths(inv *manifest.Inventory) map[manifest.Digest]manifest.Held {
	out := map[manifest.Digest]manifest.Held{}
	for n := inv.Head(); n > 0; n-- {
		for p, d := range inv.State(n) {
			was, ok := out[d]
			if ok && was.Version > n {
				continue
			}
			if ok && (manifest.Reserved(was.Path) == manifest.Reserved(p) && was.Path < p || !manifest.Reserved(was.Path) && manifest.Reserved(p)) {
				continue
			}
			out[d] = manifest.Held{Digest: d, Version: n, Path: p}
		}
	}
	return out
}
