package ocfl

import (
	"maps"
	"slices"
	"strings"
)

// claim holds the manifest and the fixity of an inventory against the files of
// the versions up to through (sections 3.3.1, 3.5.2 and 3.5.4).
func (o *object) claim(inv *inventory, through int) {
	o.claims++
	for _, e := range inv.manifest {
		for _, p := range e.paths {
			if code, _ := contentFault(p); code != "" {
				continue // reported
			}
			if code, reason := o.place(inv, p); code != "" {
				o.note(code, inv.file, "the content path %s %s", clip(p), reason)
				continue
			}
			c := o.content[p]
			if c == nil {
				o.absent(inv, p)
				continue
			}
			c.named = o.claims
			if inv.alg != nil && inv.alg.written(e.digest) {
				c.want(want{inv.alg, strings.ToLower(e.digest), "E092", inv.file})
			}
		}
	}
	o.claimFixity(inv)
	if inv == o.root {
		return
	}
	for _, c := range o.content {
		if c.n <= through && c.named != o.claims && c.unnamed == "" {
			c.unnamed = inv.file
		}
	}
}

func (o *object) claimFixity(inv *inventory) {
	if len(inv.fixity) == 0 {
		return
	}
	named := map[string]bool{}
	for _, e := range inv.manifest {
		for _, p := range e.paths {
			named[p] = true
		}
	}
	for _, f := range inv.fixity {
		alg := algorithms[f.algorithm]
		if alg == nil {
			continue
		}
		for _, e := range f.block {
			for _, p := range e.paths {
				if code, _ := contentFault(p); code != "" {
					continue // reported
				}
				if !named[p] {
					o.note("E057", inv.file, "the fixity block for %s has the path %s, which is no content path of the manifest", alg.name, clip(p))
					continue
				}
				if c := o.content[p]; c != nil && alg.written(e.digest) {
					c.want(want{alg, strings.ToLower(e.digest), "E093", inv.file})
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
func (o *object) place(inv *inventory, p string) (code, reason string) {
	folder, rest, _ := strings.Cut(p, "/")
	n, _ := parseVersionName(folder)
	if n == 0 {
		return "E042", "does not begin with a version folder of this object"
	}
	if inv.objects["versions"] && inv.version(n) == nil {
		return "E014", "is in a version that this inventory does not have"
	}
	if name, ok := o.folders[n]; ok && name != folder {
		return "E014", "should begin with " + name + ", as the folder is called"
	}
	directory, _, below := strings.Cut(rest, "/")
	if !below {
		return "E015", "is not in a content folder"
	}
	want := inv.directory()
	if h := o.holds[n]; h != nil {
		want = h.directory
	}
	if directory == want {
		return "", ""
	}
	if !inv.contentDirectory.is {
		return "E021", "is not in the folder " + want
	}
	return "E016", "is not in the folder " + want
}

// absent notes a content path without a file, once. Where the version's folder
// or its whole content folder is missing, that is what is said.
func (o *object) absent(inv *inventory, p string) {
	folder, rest, _ := strings.Cut(p, "/")
	n, _ := parseVersionName(folder)
	h := o.holds[n]
	if o.gone.covers(p) {
		return
	}
	switch directory, _, _ := strings.Cut(rest, "/"); {
	case h == nil: // the folder of the version is missing and reported
	case !h.there:
		o.gone.add(join(folder, directory))
		o.note("E016", folder, "%s names content of this version, and its folder %s is not there", inv.file, directory)
	default:
		o.gone.add(p)
		o.note("E092", p, "%s names this file, and it is not there", inv.file)
	}
}

// sortedContent are the content paths in order.
func (o *object) sortedContent() []string { return slices.Sorted(maps.Keys(o.content)) }
