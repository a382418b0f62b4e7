package inventory

import (
	"slices"
	"strings"
)

// Path rules of sections 3.5.2 and 3.5.3.1. They are the same for content paths
// and logical paths but for their codes.
type pathCodes struct{ element, slash, conflict string }

var (
	contentCodes = pathCodes{"E099", "E100", "E101"}
	logicalCodes = pathCodes{"E052", "E053", "E095"}
)

// fault returns the code and the reason of the first rule that p breaks by
// itself, "" if it breaks none.
func (c pathCodes) fault(p string) (code, reason string) {
	switch {
	case p == "":
		return c.element, "is empty"
	case p[0] == '/' || p[len(p)-1] == '/':
		return c.slash, "begins or ends with a slash"
	}
	for e := range strings.SplitSeq(p, "/") {
		if e == "" || e == "." || e == ".." {
			return c.element, "has an element that is empty, one dot or two dots"
		}
	}
	return "", ""
}

// conflicts calls each with every path that is there twice (other is the same)
// or lies below another one.
func conflicts(paths []string, each func(path, other string)) {
	// With the slash before every other byte, all that lies below a path
	// follows it directly.
	slices.SortFunc(paths, func(a, b string) int {
		n := min(len(a), len(b))
		i := 0
		for i < n && a[i] == b[i] {
			i++
		}
		switch {
		case i == n:
			return len(a) - len(b)
		case a[i] == '/':
			return -1
		case b[i] == '/':
			return 1
		}
		return int(a[i]) - int(b[i])
	})
	for i := 1; i < len(paths); i++ {
		a, b := paths[i-1], paths[i]
		if a == b || strings.HasPrefix(b, a) && b[len(a)] == '/' {
			each(b, a)
		}
	}
}

// ParseVersionName reads the name of a version folder (section 3.3): its number
// and the number of digits if it is padded with zeros, else 0. n is 0 if name is
// no version's.
func ParseVersionName(name string) (n, width int) {
	digits, ok := strings.CutPrefix(name, "v")
	if !ok || digits == "" || len(digits) > 1000 {
		return 0, 0
	}
	for i := range len(digits) {
		if !digit(digits[i]) {
			return 0, 0
		}
		if n > 1<<30 {
			return 0, 0
		}
		n = n*10 + int(digits[i]-'0')
	}
	if digits[0] == '0' {
		width = len(digits)
	}
	if n > 1<<30 {
		return 0, 0
	}
	return n, width
}

// contentDirectoryFault returns the code of the rule that the name of the
// content folders breaks (section 3.3.1), "" if none.
func contentDirectoryFault(name string) string {
	switch {
	case strings.Contains(name, "/"):
		return "E017"
	case name == "." || name == "..":
		return "E018"
	case name == "" || strings.Contains(name, "\x00"):
		return "E108"
	}
	return ""
}

// PathSet is a set of paths with everything below them. It knows the lengths
// that occur, so that a path of a million elements costs a million looks and
// not a million hashes of a million bytes.
type PathSet struct {
	Paths   map[string]bool
	lengths map[int]bool
}

// NewPathSet is an empty set.
func NewPathSet() PathSet { return PathSet{map[string]bool{}, map[int]bool{}} }

// Add puts a path into the set.
func (s PathSet) Add(p string) { s.Paths[p], s.lengths[len(p)] = true, true }

// Covers reports whether p or a folder above it is in the set.
func (s PathSet) Covers(p string) bool {
	if s.Paths[p] {
		return true
	}
	for i := range len(p) {
		if p[i] == '/' && s.lengths[i] && s.Paths[p[:i]] {
			return true
		}
	}
	return false
}
