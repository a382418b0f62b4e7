package inventory

import (
	"fmt"
	"slices"
	"strings"
)

// Checker holds one inventory to the rules that it can keep or break by itself
// (sections 3.4 and 3.5).
type Checker struct {
	Inventory *Inventory
	Note      func(code, format string, args ...any)
	// Folder is the version folder the inventory lies in, "" for the one at
	// the top, which is the only one that warnings are given for: the others
	// repeat its words.
	Folder string
	Top    *Inventory // that one; nil where there is none
	// Declared is the version of the specification the object claims.
	Declared Spec
	// Foreign: there are extensions this package does not know, which may
	// define more fixity algorithms.
	Foreign bool
}

func (c *Checker) Check() {
	inv := c.Inventory
	if inv.Bad {
		return
	}
	c.required()
	c.basics()
	c.manifest()
	c.versions()
	c.fixity()
}

func (c *Checker) warn(code, format string, args ...any) {
	if c.Folder == "" {
		c.Note(code, format, args...)
	}
}

func (c *Checker) required() {
	for _, key := range []string{"id", "type", "digestAlgorithm", "head"} {
		if !c.Inventory.has[key] {
			c.Note("E036", "the key %q is missing", key)
		}
	}
	if !c.Inventory.has["manifest"] {
		c.Note("E041", "the key %q is missing", "manifest")
	}
	for key, code := range map[string]string{"versions": "E044", "fixity": "E055"} {
		if c.Inventory.cased[key] {
			c.Note(code, "the key %q is not written in lower case", key)
		}
	}
	if !c.Inventory.has["versions"] && !c.Inventory.cased["versions"] {
		c.Note("E043", "the key %q is missing", "versions")
	}
}

func (c *Checker) basics() {
	inv := c.Inventory
	if inv.has["id"] {
		switch {
		case inv.ID.Value == "":
			c.Note("E037", "id is not a string, or an empty one")
		case !isURI(inv.ID.Value):
			c.warn("W005", "the id %s is not a URI", Clip(inv.ID.Value))
		}
	}
	if inv.has["type"] {
		inv.Spec = TypeSpec(inv.Type.Value)
		switch {
		case inv.Spec == UnknownSpec:
			c.Note("E038", "type is %s, which is no inventory of OCFL 1.0 or 1.1", Clip(inv.Type.Value))
		case c.Folder == "" && c.Declared != UnknownSpec && inv.Spec != c.Declared:
			c.Note("E038", "type names OCFL %s, the object declares %s", inv.Spec, c.Declared)
		}
	}
	if inv.has["digestAlgorithm"] {
		inv.Algo = ContentAlgorithm(inv.Algorithm.Value)
		switch {
		case inv.Algo == nil:
			c.Note("E025", "digestAlgorithm is %s; content is addressed by sha512 or sha256", Clip(inv.Algorithm.Value))
		case inv.Algorithm.Value != "sha512":
			if c.Folder == "" || c.Top != nil && c.Top.Algo != inv.Algo { // what the top says too is said once
				c.Note("W004", "digestAlgorithm is %s; sha512 is recommended", inv.Algorithm.Value)
			}
		}
	}
	if inv.has["contentDirectory"] {
		if !inv.ContentDirectory.Is {
			c.Note("E033", "contentDirectory is not a string")
		} else if code := contentDirectoryFault(inv.ContentDirectory.Value); code != "" {
			c.Note(code, "contentDirectory is %s, which cannot be the name of a folder inside a version's", Clip(inv.ContentDirectory.Value))
		}
	}
}

func (c *Checker) manifest() {
	inv := c.Inventory
	if !inv.has["manifest"] {
		return
	}
	if !inv.Objects["manifest"] {
		c.Note("E106", "manifest is not a JSON object")
		return
	}
	used := map[string]bool{}
	states := inv.Objects["versions"] // all of them are there to look at
	for _, v := range inv.Versions {
		states = states && v.stateObject
		for _, e := range v.State {
			used[strings.ToLower(e.Digest)] = true
		}
	}
	inv.byKey = make(map[string]bool, len(inv.Manifest))
	lower := make(map[string]bool, len(inv.Manifest))
	var paths []string
	for _, e := range inv.Manifest {
		folded := strings.ToLower(e.Digest)
		switch {
		case lower[folded]:
			c.Note("E096", "the manifest has the digest %s more than once", Clip(e.Digest))
		case inv.Algo != nil && !inv.Algo.Written(e.Digest):
			code := inv.Algo.encoding
			if IsHex(e.Digest) {
				code = "E039"
			}
			c.Note(code, "%s in the manifest is not a digest of %s", Clip(e.Digest), inv.Algo.Name)
		}
		if !used[folded] && states {
			c.Note("E107", "the digest %s of the manifest is in no version's state", Clip(e.Digest))
		}
		inv.byKey[e.Digest], lower[folded] = true, true
		if len(e.Paths) == 0 {
			c.Note("E092", "the digest %s has no content path", Clip(e.Digest))
		}
		for _, p := range e.Paths {
			if code, reason := ContentFault(p); code != "" {
				c.Note(code, "the content path %s %s", Clip(p), reason)
				continue
			}
			paths = append(paths, p)
		}
	}
	conflicts(paths, func(p, other string) {
		c.Note(contentCodes.conflict, "the content path %s is there beside %s", Clip(p), Clip(other))
	})
}

// ContentFault is what a content path breaks by itself.
func ContentFault(p string) (code, reason string) {
	if strings.Contains(p, `\`) && !strings.Contains(p, "/") {
		return "E035", "is not divided by forward slashes"
	}
	return contentCodes.fault(p)
}

func (c *Checker) fixity() {
	inv := c.Inventory
	if !inv.has["fixity"] {
		return
	}
	if !inv.Objects["fixity"] {
		c.Note("E111", "fixity is not a JSON object")
		return
	}
	for _, f := range inv.Fixity {
		alg := Algorithms[f.Algorithm]
		if alg == nil && !c.Foreign {
			c.Note("E056", "fixity names the digest algorithm %s, which neither the specification nor a registered extension knows", Clip(f.Algorithm))
		}
		if !f.object {
			c.Note("E057", "the fixity block for %s is not a JSON object", Clip(f.Algorithm))
			continue
		}
		if alg == nil {
			continue // not supported, to be ignored (section 3.4)
		}
		seen := make(map[string]bool, len(f.Block))
		for _, e := range f.Block {
			folded := strings.ToLower(e.Digest)
			switch {
			case seen[folded]:
				c.Note("E097", "the fixity block for %s has the digest %s more than once", alg.Name, Clip(e.Digest))
			case !alg.Written(e.Digest):
				c.Note(alg.encoding, "%s in the fixity block is not a digest of %s", Clip(e.Digest), alg.Name)
			}
			seen[folded] = true
			for _, p := range e.Paths {
				if code, reason := ContentFault(p); code != "" {
					c.Note(code, "the content path %s in the fixity block for %s %s", Clip(p), alg.Name, reason)
				}
			}
		}
	}
}

// Sequence reports where the numbers of versions, found in some order, do not
// run from 1 without a gap. what is said of a number that is missing.
func Sequence(numbers []int, note func(code, format string, args ...any), what string) {
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
