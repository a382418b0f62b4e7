package ocfl

import "linecamp/verify/ocfl/inventory"

import (
	"slices"
	"strings"
)

// history holds the inventories of an object against each other (section 3.7),
// as they come, oldest first.
type history struct {
	*object
	first *inventory.Text // contentDirectory of v1's own inventory; nil if it has none
	spec  inventory.Spec  // the newest specification that an inventory so far names
	by    string
}

// usable reports whether there is an inventory at the top to compare with.
func (o *object) usable() bool { return o.root != nil && !o.root.Bad }

// add takes the inventory of version n.
func (h *history) add(n int, p pair) {
	inv := p.inv
	if inv == nil {
		h.note("W010", h.folders[n], "a version is better kept with the inventory as it was then")
		return
	}
	if inv.Bad {
		return
	}
	if n == 1 {
		h.first = &inv.ContentDirectory
	}
	if h.usable() {
		head := h.root.Newest
		if n == head && inv != h.root {
			h.note("E064", inv.File, "it differs from the inventory at the top, which should be the same file")
			return
		}
		if inv == h.root {
			if head, _ := inventory.ParseVersionName(inv.Head.Value); head > 0 && head != n { // the same bytes as at the top, which are read once
				h.note("E040", join(h.folders[n], inventoryName), "head is %s in the folder of %s", inventory.Clip(inv.Head.Value), h.folders[n])
			}
			return // finish looks at it
		}
		if n < head {
			h.compare(inv)
		}
	}
	h.directory(n, inv)
	h.conformance(inv)
	h.claim(inv, n)
}

// finish takes the inventory at the top and then tells which files nothing names.
func (h *history) finish() {
	if !h.usable() {
		return
	}
	h.directory(0, h.root)
	h.conformance(h.root)
	h.claim(h.root, int(^uint(0)>>1))
	if !h.root.Objects["manifest"] {
		return // nothing is named, and that is reported
	}
	for _, path := range h.sortedContent() {
		switch c := h.content[path]; {
		case c.named != h.claims:
			h.note("E023", path, "the manifest does not name this file")
		case c.unnamed != "":
			h.note("E023", path, "the manifest of %s does not name this file", c.unnamed)
		}
	}
}

// directory checks that contentDirectory stays what it was in v1 (section 3.3.1).
func (h *history) directory(n int, inv *inventory.Inventory) {
	if h.first == nil || n == 1 {
		return
	}
	now := inv.ContentDirectory
	switch {
	case now.Is && !h.first.Is:
		h.note("E019", inv.File, "it sets contentDirectory, which the first version did not")
	case now.Is && now.Value != h.first.Value:
		h.note("E020", inv.File, "contentDirectory is %s, in the first version it was %s", inventory.Clip(now.Value), inventory.Clip(h.first.Value))
	case !now.Is && h.first.Is && h.first.Value != "content":
		h.note("E020", inv.File, "contentDirectory is not set, in the first version it was %s", inventory.Clip(h.first.Value))
	}
}

// conformance checks that no version goes back to an older specification
// (section 3.7.1).
func (h *history) conformance(inv *inventory.Inventory) {
	if inv.Spec == inventory.UnknownSpec {
		return
	}
	if inv.Spec < h.spec {
		h.note("E103", inv.File, "it names OCFL %s, %s before it %s", inv.Spec, h.by, h.spec)
		return
	}
	h.spec, h.by = inv.Spec, inv.File
}

// compare holds an earlier inventory against the one at the top.
func (h *history) compare(inv *inventory.Inventory) {
	now := h.root
	if inv.ID.Value != "" && now.ID.Value != "" && inv.ID.Value != now.ID.Value {
		h.note("E110", inv.File, "the id was %s and is %s now", inventory.Clip(inv.ID.Value), inventory.Clip(now.ID.Value))
	}
	for _, was := range inv.Versions {
		is := now.Version(was.N)
		if was.N == 0 || !was.Object {
			continue
		}
		if is == nil {
			h.note("E066", inv.File, "it has version %s, which the inventory at the top has not", inventory.Clip(was.Name))
			continue
		}
		if !is.Object {
			continue
		}
		if !sameState(inv, was, now, is) {
			h.note("E066", inv.File, "version %s has other files here than in the inventory at the top", inventory.Clip(was.Name))
		}
		for _, key := range []struct {
			name string
			same bool
		}{
			{"created", was.Created == is.Created},
			{"message", was.Message == is.Message},
			{"user", was.User == is.User},
		} {
			if !key.same {
				h.note("W011", inv.File, "%s of version %s is another here than in the inventory at the top", key.name, inventory.Clip(was.Name))
			}
		}
	}
}

// sameState reports whether two blocks describe the same logical state. With
// one algorithm the digests tell; where an object changed its algorithm, the
// stored files behind them do.
func sameState(a *inventory.Inventory, va *inventory.Version, b *inventory.Inventory, vb *inventory.Version) bool {
	if a.Algo == b.Algo && va.StateRaw == vb.StateRaw {
		return true
	}
	state := map[string]string{}
	for _, e := range vb.State {
		for _, p := range e.Paths {
			state[p] = strings.ToLower(e.Digest)
		}
	}
	var stored map[string][]string
	if a.Algo != b.Algo {
		stored = map[string][]string{}
		for _, inv := range []*inventory.Inventory{a, b} {
			for _, e := range inv.Manifest {
				d := strings.ToLower(e.Digest)
				stored[d] = append(stored[d], e.Paths...)
			}
		}
	}
	for _, e := range va.State {
		was := strings.ToLower(e.Digest)
		for _, p := range e.Paths {
			is, ok := state[p]
			if !ok {
				return false
			}
			if was != is && !shareFile(stored[was], stored[is]) {
				return false
			}
			delete(state, p)
		}
	}
	return len(state) == 0
}

func shareFile(a, b []string) bool {
	return slices.ContainsFunc(a, func(p string) bool { return slices.Contains(b, p) })
}
