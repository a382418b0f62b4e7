package ocfl

import (
	"slices"
	"strings"
)

// history holds the inventories of an object against each other (section 3.7),
// as they come, oldest first.
type history struct {
	*object
	first *text // contentDirectory of v1's own inventory; nil if it has none
	spec  spec  // the newest specification that an inventory so far names
	by    string
}

// usable reports whether there is an inventory at the top to compare with.
func (o *object) usable() bool { return o.root != nil && !o.root.bad }

// add takes the inventory of version n.
func (h *history) add(n int, p pair) {
	inv := p.inv
	if inv == nil {
		h.note("W010", h.folders[n], "a version is better kept with the inventory as it was then")
		return
	}
	if inv.bad {
		return
	}
	if n == 1 {
		h.first = &inv.contentDirectory
	}
	if h.usable() {
		head := h.root.newest
		if n == head && inv != h.root {
			h.note("E064", inv.file, "it differs from the inventory at the top, which should be the same file")
			return
		}
		if inv == h.root {
			if head, _ := parseVersionName(inv.head.value); head > 0 && head != n { // the same bytes as at the top, which are read once
				h.note("E040", join(h.folders[n], inventoryName), "head is %s in the folder of %s", clip(inv.head.value), h.folders[n])
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
	if !h.root.objects["manifest"] {
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
func (h *history) directory(n int, inv *inventory) {
	if h.first == nil || n == 1 {
		return
	}
	now := inv.contentDirectory
	switch {
	case now.is && !h.first.is:
		h.note("E019", inv.file, "it sets contentDirectory, which the first version did not")
	case now.is && now.value != h.first.value:
		h.note("E020", inv.file, "contentDirectory is %s, in the first version it was %s", clip(now.value), clip(h.first.value))
	case !now.is && h.first.is && h.first.value != "content":
		h.note("E020", inv.file, "contentDirectory is not set, in the first version it was %s", clip(h.first.value))
	}
}

// conformance checks that no version goes back to an older specification
// (section 3.7.1).
func (h *history) conformance(inv *inventory) {
	if inv.spec == unknownSpec {
		return
	}
	if inv.spec < h.spec {
		h.note("E103", inv.file, "it names OCFL %s, %s before it %s", inv.spec, h.by, h.spec)
		return
	}
	h.spec, h.by = inv.spec, inv.file
}

// compare holds an earlier inventory against the one at the top.
func (h *history) compare(inv *inventory) {
	now := h.root
	if inv.id.value != "" && now.id.value != "" && inv.id.value != now.id.value {
		h.note("E110", inv.file, "the id was %s and is %s now", clip(inv.id.value), clip(now.id.value))
	}
	for _, was := range inv.versions {
		is := now.version(was.n)
		if was.n == 0 || !was.object {
			continue
		}
		if is == nil {
			h.note("E066", inv.file, "it has version %s, which the inventory at the top has not", clip(was.name))
			continue
		}
		if !is.object {
			continue
		}
		if !sameState(inv, was, now, is) {
			h.note("E066", inv.file, "version %s has other files here than in the inventory at the top", clip(was.name))
		}
		for _, key := range []struct {
			name string
			same bool
		}{
			{"created", was.created == is.created},
			{"message", was.message == is.message},
			{"user", was.user == is.user},
		} {
			if !key.same {
				h.note("W011", inv.file, "%s of version %s is another here than in the inventory at the top", key.name, clip(was.name))
			}
		}
	}
}

// sameState reports whether two blocks describe the same logical state. With
// one algorithm the digests tell; where an object changed its algorithm, the
// stored files behind them do.
func sameState(a *inventory, va *version, b *inventory, vb *version) bool {
	if a.alg == b.alg && va.stateRaw == vb.stateRaw {
		return true
	}
	state := map[string]string{}
	for _, e := range vb.state {
		for _, p := range e.paths {
			state[p] = strings.ToLower(e.digest)
		}
	}
	var stored map[string][]string
	if a.alg != b.alg {
		stored = map[string][]string{}
		for _, inv := range []*inventory{a, b} {
			for _, e := range inv.manifest {
				d := strings.ToLower(e.digest)
				stored[d] = append(stored[d], e.paths...)
			}
		}
	}
	for _, e := range va.state {
		was := strings.ToLower(e.digest)
		for _, p := range e.paths {
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
