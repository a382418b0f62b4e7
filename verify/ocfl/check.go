package ocfl

import (
	"fmt"
	"slices"
	"strings"
)

// checker holds one inventory to the rules that it can keep or break by itself
// (sections 3.4 and 3.5).
type checker struct {
	inv  *inventory
	note func(code, format string, args ...any)
	// folder is the version folder the inventory lies in, "" for the one at
	// the top, which is the only one that warnings are given for: the others
	// repeat its words.
	folder string
	top    *inventory // that one; nil where there is none
	// declared is the version of the specification the object claims.
	declared spec
	// foreign: there are extensions this package does not know, which may
	// define more fixity algorithms.
	foreign bool
}

func (c *checker) check() {
	inv := c.inv
	if inv.bad {
		return
	}
	c.required()
	c.basics()
	c.manifest()
	c.versions()
	c.fixity()
}

func (c *checker) warn(code, format string, args ...any) {
	if c.folder == "" {
		c.note(code, format, args...)
	}
}

func (c *checker) required() {
	for _, key := range []string{"id", "type", "digestAlgorithm", "head"} {
		if !c.inv.has[key] {
			c.note("E036", "the key %q is missing", key)
		}
	}
	if !c.inv.has["manifest"] {
		c.note("E041", "the key %q is missing", "manifest")
	}
	for key, code := range map[string]string{"versions": "E044", "fixity": "E055"} {
		if c.inv.cased[key] {
			c.note(code, "the key %q is not written in lower case", key)
		}
	}
	if !c.inv.has["versions"] && !c.inv.cased["versions"] {
		c.note("E043", "the key %q is missing", "versions")
	}
}

func (c *checker) basics() {
	inv := c.inv
	if inv.has["id"] {
		switch {
		case inv.id.value == "":
			c.note("E037", "id is not a string, or an empty one")
		case !isURI(inv.id.value):
			c.warn("W005", "the id %s is not a URI", clip(inv.id.value))
		}
	}
	if inv.has["type"] {
		inv.spec = typeSpec(inv.typ.value)
		switch {
		case inv.spec == unknownSpec:
			c.note("E038", "type is %s, which is no inventory of OCFL 1.0 or 1.1", clip(inv.typ.value))
		case c.folder == "" && c.declared != unknownSpec && inv.spec != c.declared:
			c.note("E038", "type names OCFL %s, the object declares %s", inv.spec, c.declared)
		}
	}
	if inv.has["digestAlgorithm"] {
		inv.alg = contentAlgorithm(inv.algorithm.value)
		switch {
		case inv.alg == nil:
			c.note("E025", "digestAlgorithm is %s; content is addressed by sha512 or sha256", clip(inv.algorithm.value))
		case inv.algorithm.value != "sha512":
			if c.folder == "" || c.top != nil && c.top.alg != inv.alg { // what the top says too is said once
				c.note("W004", "digestAlgorithm is %s; sha512 is recommended", inv.algorithm.value)
			}
		}
	}
	if inv.has["contentDirectory"] {
		if !inv.contentDirectory.is {
			c.note("E033", "contentDirectory is not a string")
		} else if code := contentDirectoryFault(inv.contentDirectory.value); code != "" {
			c.note(code, "contentDirectory is %s, which cannot be the name of a folder inside a version's", clip(inv.contentDirectory.value))
		}
	}
}

func (c *checker) manifest() {
	inv := c.inv
	if !inv.has["manifest"] {
		return
	}
	if !inv.objects["manifest"] {
		c.note("E106", "manifest is not a JSON object")
		return
	}
	used := map[string]bool{}
	states := inv.objects["versions"] // all of them are there to look at
	for _, v := range inv.versions {
		states = states && v.stateObject
		for _, e := range v.state {
			used[strings.ToLower(e.digest)] = true
		}
	}
	inv.byKey = make(map[string]bool, len(inv.manifest))
	lower := make(map[string]bool, len(inv.manifest))
	var paths []string
	for _, e := range inv.manifest {
		folded := strings.ToLower(e.digest)
		switch {
		case lower[folded]:
			c.note("E096", "the manifest has the digest %s more than once", clip(e.digest))
		case inv.alg != nil && !inv.alg.written(e.digest):
			code := inv.alg.encoding
			if isHex(e.digest) {
				code = "E039"
			}
			c.note(code, "%s in the manifest is not a digest of %s", clip(e.digest), inv.alg.name)
		}
		if !used[folded] && states {
			c.note("E107", "the digest %s of the manifest is in no version's state", clip(e.digest))
		}
		inv.byKey[e.digest], lower[folded] = true, true
		if len(e.paths) == 0 {
			c.note("E092", "the digest %s has no content path", clip(e.digest))
		}
		for _, p := range e.paths {
			if code, reason := contentFault(p); code != "" {
				c.note(code, "the content path %s %s", clip(p), reason)
				continue
			}
			paths = append(paths, p)
		}
	}
	conflicts(paths, func(p, other string) {
		c.note(contentCodes.conflict, "the content path %s is there beside %s", clip(p), clip(other))
	})
}

// contentFault is what a content path breaks by itself.
func contentFault(p string) (code, reason string) {
	if strings.Contains(p, `\`) && !strings.Contains(p, "/") {
		return "E035", "is not divided by forward slashes"
	}
	return contentCodes.fault(p)
}

func (c *checker) fixity() {
	inv := c.inv
	if !inv.has["fixity"] {
		return
	}
	if !inv.objects["fixity"] {
		c.note("E111", "fixity is not a JSON object")
		return
	}
	for _, f := range inv.fixity {
		alg := algorithms[f.algorithm]
		if alg == nil && !c.foreign {
			c.note("E056", "fixity names the digest algorithm %s, which neither the specification nor a registered extension knows", clip(f.algorithm))
		}
		if !f.object {
			c.note("E057", "the fixity block for %s is not a JSON object", clip(f.algorithm))
			continue
		}
		if alg == nil {
			continue // not supported, to be ignored (section 3.4)
		}
		seen := make(map[string]bool, len(f.block))
		for _, e := range f.block {
			folded := strings.ToLower(e.digest)
			switch {
			case seen[folded]:
				c.note("E097", "the fixity block for %s has the digest %s more than once", alg.name, clip(e.digest))
			case !alg.written(e.digest):
				c.note(alg.encoding, "%s in the fixity block is not a digest of %s", clip(e.digest), alg.name)
			}
			seen[folded] = true
			for _, p := range e.paths {
				if code, reason := contentFault(p); code != "" {
					c.note(code, "the content path %s in the fixity block for %s %s", clip(p), alg.name, reason)
				}
			}
		}
	}
}

// sequence reports where the numbers of versions, found in some order, do not
// run from 1 without a gap. what is said of a number that is missing.
func sequence(numbers []int, note func(code, format string, args ...any), what string) {
	numbers = slices.Compact(slices.Sorted(slices.Values(numbers)))
	if len(numbers) == 0 {
		note("E008", "there is no version")
		return
	}
	if numbers[0] != 1 {
		note("E009", "%s begin with version %d", what, numbers[0])
	}
	for i := 1; i < len(numbers); i++ {
		if lacking := numbers[i-1] + 1; lacking < numbers[i] {
			named := fmt.Sprintf("version %d", lacking)
			if last := numbers[i] - 1; last > lacking {
				named = fmt.Sprintf("the versions %d to %d", lacking, last)
			}
			note("E010", "%s lack %s", what, named)
		}
	}
}
