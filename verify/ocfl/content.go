package ocfl

import "linecamp/verify/ocfl/inventory"

import (
	"maps"
	"slices"
	"strings"
)

// claim holds the manifest and the fixity of an inventory against the files of
// the versions up to through (sections 3.3.1, 3.5.2 and 3.5.4).
func (o *object) claim(inv *inventory.Inventory, through int) {
	o.claims++
	for _, e := range inv.Manifest {
		for _, p := range e.Paths {
			if code, _ := inventory.ContentFault(p); code != "" {
				continue // reported
			}
			if code, reason := o.place(inv, p); code != "" {
				o.note(code, inv.File, "the content path %s %s", inventory.Clip(p), reason)
				continue
			}
			c := o.content[p]
			if c == nil {
				o.absent(inv, p)
				continue
			}
			c.named = o.claims
			if inv.Algo != nil && inv.Algo.Written(e.Digest) {
				c.want(want{inv.Algo, strings.ToLower(e.Digest), "E092", inv.File})
			}
		}
	}
	o.claimFixity(inv)
	if inv == o.root {
		return
	}
	for _, c := range o.content {
		if c.n <= through && c.named != o.claims && c.unnamed == "" {
			c.unnamed = inv.File
		}
	}
}

func (o *object) claimFixity(inv *inventory.Inventory) {
	if len(inv.Fixity) == 0 {
		return
	}
	named := map[string]bool{}
	for _, e := range inv.Manifest {
		for _, p := range e.Paths {
			named[p] = true
		}
	}
	for _, f := range inv.Fixity {
		alg := inventory.Algorithms[f.Algorithm]
		if alg == nil {
			continue
		}
		for _, e := range f.Block {
			for _, p := range e.Paths {
				if code, _ := inventory.ContentFault(p); code != "" {
					continue // reported
				}
				if !named[p] {
					o.note("E057", inv.File, "the fixity block for %s has the path %s, which is no content path of the manifest", alg.Name, inventory.Clip(p))
					continue
				}
				if c := o.content[p]; c != nil && alg.Written(e.Digest) {
					c.want(want{alg, strings.ToLower(e.Digest), "E093", inv.File})
				}
			}
		}
	}
}

// want adds a digest that the file should have. Most inventories repeat the
// digests of the ones before.
func (c *content) want(w want) {
	for _, h := range c.wants {
		if h.alg == w.alg && h.digest == w.digest && h.code == w.code {
			return
		}
	}
	c.wants = append(c.wants, w)
}

// place finds the rule that a content path breaks by where it lies, "" if none.
func (o *object) place(inv *inventory.Inventory, p string) (code, reason string) {
	folder, rest, _ := strings.Cut(p, "/")
	n, _ := inventory.ParseVersionName(folder)
	if n == 0 {
		return "E042", "does not begin with a version folder of this object"
	}
	if inv.Objects["versions"] && inv.Version(n) == nil {
		return "E014", "is in a version that this inventory does not have"
	}
	if name, ok := o.folders[n]; ok && name != folder {
		return "E014", "should begin with " + name + ", as the folder is called"
	}
	directory, _, below := strings.Cut(rest, "/")
	if !below {
		return "E015", "is not in a content folder"
	}
	want := inv.Directory()
	if h := o.holds[n]; h != nil {
		want = h.directory
	}
	if directory == want {
		return "", ""
	}
	if !inv.ContentDirectory.Is {
		return "E021", "is not in the folder " + want
	}
	return "E016", "is not in the folder " + want
}

// absent notes a content path without a file, once. Where the version's folder
// or its whole content folder is missing, that is what is said.
func (o *object) absent(inv *inventory.Inventory, p string) {
	folder, rest, _ := strings.Cut(p, "/")
	n, _ := inventory.ParseVersionName(folder)
	h := o.holds[n]
	if o.gone.Covers(p) {
		return
	}
	switch directory, _, _ := strings.Cut(rest, "/"); {
	case h == nil: // the folder of the version is missing and reported
	case !h.there:
		o.gone.Add(join(folder, directory))
		o.note("E016", folder, "%s names content of this version, and its folder %s is not there", inv.File, directory)
	default:
		o.gone.Add(p)
		o.note("E092", p, "%s names this file, and it is not there", inv.File)
	}
}

// sortedContent are the content paths in order.
func (o *object) sortedContent() []string { return slices.Sorted(maps.Keys(o.content)) }
