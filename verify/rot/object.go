package rot

import (
	"cmp"
	"context"
	"slices"
	"strconv"
	"strings"
	"sync"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/verify"
	"linecamp/verify/history"
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
	inv  *manifest.Inventory    // what the copy is held against
	exp  *manifest.Inventory    // the newest known anywhere; may be nil
	held map[string]verify.Held // what was remembered, by content path

	nameOnce sync.Once
	record   *manifest.Record
	newest   map[manifest.Digest]manifest.Held // by digest: newest path and version

	sizesMu sync.Mutex
	sizes   map[int]map[manifest.Digest]int64 // by version, as its record says
	records history.Records

	late int // the first version that is of another history; 0 for none

	mu      sync.Mutex
	found   []verify.Held // to be remembered
	pending int           // jobs not done, and one while jobs are still added
}

// object checks one object: its manifests here and now, its files by handing
// out jobs. files are the keys below it; listed is false where they could not
// be listed to the end, and then nothing is called stray.
func (r *check) object(ctx context.Context, slug string, files map[string]store.Info, listed bool) {
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
	if v.another {
		r.strayFolder(slug, files)
		return
	}
	if v.unreadable {
		return // reported; what lies below it cannot be judged
	}
	want := r.heads[slug]
	if o.exp != nil {
		want = max(want, o.exp.Head())
	}
	have := v.claimed
	if o.late > 0 {
		have = o.late - 1
	}
	if have < want {
		site := slug
		if v.claimed > 0 {
			site = o.label(ctx, r)
		}
		r.mu.Lock()
		r.report.Behind = append(r.report.Behind, verify.Behind{Object: slug, Site: site, Have: have, Want: want})
		r.mu.Unlock()
	}
	if v.claimed == 0 && want == 0 && !building(files) {
		r.strayFolder(slug, files)
		return
	}
	if have > 0 {
		r.mu.Lock()
		r.report.Heads[slug] = have
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
		n := verify.VersionOf(p)
		if n > v.claimed || n > 0 && (p == versionFile(n, inventoryFile) || p == versionFile(n, sidecarFile)) {
			continue // being built, or checked
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
func (r *check) content(ctx context.Context, o *object, files map[string]store.Info, listed bool, known map[string]bool) {
	count := o.inv.Files()
	type named struct {
		path string
		want manifest.Digest
	}
	var all []named
	for d, paths := range o.inv.Content {
		for _, p := range paths {
			all = append(all, named{p, d})
		}
	}
	// In the order in which they were written: a drive reads on without seeking.
	slices.SortFunc(all, func(a, b named) int {
		return cmp.Or(cmp.Compare(verify.VersionOf(a.path), verify.VersionOf(b.path)), strings.Compare(a.path, b.path))
	})
	for _, n := range all {
		p := n.path
		known[p] = true
		info, there := files[p]
		j := job{object: o, path: p, want: n.want, info: info, files: count[n.want]}
		if listed && there {
			r.expectShare(j, info.Size)
		} else {
			r.expectShare(j, o.held[p].Size)
		}
		if listed && !there {
			r.damaged(ctx, o, verify.Damage{Object: o.slug, Content: p, Kind: verify.Gone, Detail: "it is not on this copy",
				Digest: n.want, Files: j.files, Bytes: o.held[p].Size})
			continue
		}
		j.listed = listed
		if !r.hand(ctx, j) {
			return
		}
	}
}

// expectShare counts a file the copy should hold.
func (r *check) expectShare(j job, size int64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.report.Files += j.files
	r.report.Bytes += size * int64(j.files)
}

func versionFile(n int, name string) string { return "v" + strconv.Itoa(n) + "/" + name }
