package ocfl

import "linecamp/verify/ocfl/inventory"

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"sync"
)

// Unreadable takes the place of the specification's code in a finding about
// something that could not be read, or is larger than this package reads:
// nothing can be said of it, so it does not count as valid.
const Unreadable = inventory.Unread

// MaxFindings is how many findings of one code are kept for one object or for
// the storage root itself; the others are counted in Omitted.
const MaxFindings = 1000

// Report is what Validate found.
type Report struct {
	Root    string   `json:"root"`  // what was checked, as Files names it
	Valid   bool     `json:"valid"` // no error anywhere; warnings are allowed
	Objects []Object `json:"objects"`
	// Findings about the storage root itself; empty when one object was
	// checked. Paths are relative to Root.
	Errors   []Finding `json:"errors"`
	Warnings []Finding `json:"warnings"`
	Omitted  int       `json:"omitted,omitempty"`
}

// Object is one OCFL object.
type Object struct {
	Path     string    `json:"path"` // relative to the root; "." when the object itself was checked
	ID       string    `json:"id"`   // "" when the inventory does not tell
	Valid    bool      `json:"valid"`
	Errors   []Finding `json:"errors"` // paths are relative to the object
	Warnings []Finding `json:"warnings"`
	Omitted  int       `json:"omitted,omitempty"` // findings left out, errors and warnings together
}

// Finding is one rule that is not kept.
type Finding struct {
	Code   string `json:"code"` // E… or W… of the specification, or Unreadable
	Path   string `json:"path"`
	Detail string `json:"detail"`
}

// Wants reports whether something wants a person: anything that makes the
// object or root invalid. Warnings do not.
func (r Report) Wants() bool { return !r.Valid }

// in10 names what 1.0 calls a rule that 1.1 gave a code of its own; "" is a
// rule that 1.0 does not have.
var in10 = map[string]string{
	"E104": "E001", // a folder in the object that is no version's
	"E105": "E001",
	"E106": "E033", // the structure of an inventory
	"E107": "",
	"E108": "E033",
	"E110": "E037",
	"E111": "E057",
	"E112": "E086", // a storage root's extensions follow the rules of an object's
	"W016": "W013",
}

// notes collects findings; several goroutines may add.
type notes struct {
	mu       sync.Mutex
	errors   []Finding
	warnings []Finding
	count    map[string]int
	omitted  int
	wrong    bool
}

// noteFunc notes a finding about a path.
type noteFunc func(code, path, format string, args ...any)

// add notes a finding by the rules of version s.
func (n *notes) add(s inventory.Spec, code, path, format string, args ...any) {
	if s == inventory.Spec10 {
		if old, ok := in10[code]; ok {
			code = old
		}
	}
	if code == "" {
		return
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	warning := strings.HasPrefix(code, "W")
	n.wrong = n.wrong || !warning
	if n.count == nil {
		n.count = map[string]int{}
	}
	if n.count[code]++; n.count[code] > MaxFindings {
		n.omitted++
		return
	}
	f := Finding{Code: code, Path: shorten(path), Detail: fmt.Sprintf(format, args...)}
	if warning {
		n.warnings = append(n.warnings, f)
	} else {
		n.errors = append(n.errors, f)
	}
}

func (n *notes) sorted() (errors, warnings []Finding) {
	for _, l := range [][]Finding{n.errors, n.warnings} {
		slices.SortStableFunc(l, func(a, b Finding) int {
			return cmp.Or(cmp.Compare(a.Path, b.Path), cmp.Compare(a.Code, b.Code), cmp.Compare(a.Detail, b.Detail))
		})
	}
	return append([]Finding{}, n.errors...), append([]Finding{}, n.warnings...)
}

// shorten keeps a path from outside from filling the report.
func shorten(p string) string {
	const most = 4096
	if len(p) > most {
		return strings.ToValidUTF8(p[:most], "") + "…"
	}
	return p
}
