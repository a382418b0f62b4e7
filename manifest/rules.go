package manifest

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"linecamp/manifest/names"
)

// check holds a whole inventory to the rules that go beyond its JSON. The error
// names the rule; callers wrap it.
func (inv *Inventory) check() error {
	if _, _, err := ParseObjectID(inv.ID); err != nil {
		return err
	}
	stored, err := inv.checkContent()
	if err != nil {
		return err
	}
	const used = 0 // takes the place of a version that was looked at
	for i := range inv.Versions {
		n := i + 1
		state := inv.Versions[i].State
		if err := checkState(state); err != nil {
			return fmt.Errorf("the state of v%d: %w", n, err)
		}
		if _, ok := state[RecordPath]; !ok {
			return fmt.Errorf("the state of v%d has no %s", n, RecordPath)
		}
		for p, d := range state {
			first, ok := stored[d]
			switch {
			case !ok:
				return fmt.Errorf("the digest %s of %q in v%d is not in the manifest (E050)", d, names.Clip(p), n)
			case first > n:
				return fmt.Errorf("the digest %s of %q in v%d is only stored by v%d (E050 for v%d's own inventory)", d, names.Clip(p), n, first, n)
			case first != used && first < n:
				return fmt.Errorf("the digest %s is stored by v%d but not used before v%d (E107 for v%d's own inventory)", d, first, n, first)
			case first != used:
				stored[d] = used
			}
		}
	}
	for d, first := range stored {
		if first != used {
			return fmt.Errorf("the digest %s of the manifest is in no version's state (E107)", d)
		}
	}
	return nil
}

// checkContent checks the manifest's content paths and returns, for each
// digest, the first version that stores it.
func (inv *Inventory) checkContent() (map[Digest]int, error) {
	stored := make(map[Digest]int, len(inv.Content))
	owner := make(map[string]bool, len(inv.Content))
	for d, paths := range inv.Content {
		for _, p := range paths {
			n, err := checkContentPath(p)
			if err != nil {
				return nil, err
			}
			if n > inv.Head() {
				return nil, fmt.Errorf("the content path %q lies in v%d, and head is v%d (E092)", names.Clip(p), n, inv.Head())
			}
			if owner[p] {
				return nil, fmt.Errorf("the content path %q is there twice (E101)", names.Clip(p))
			}
			owner[p] = true
			if first, ok := stored[d]; !ok || n < first {
				stored[d] = n
			}
		}
	}
	file := func(q string) bool { return owner[q] }
	for p := range owner {
		if folder := fileAbove(p, file); folder != "" {
			return nil, fmt.Errorf("the content path %q is a file and the folder of %q (E101)", names.Clip(folder), names.Clip(p))
		}
	}
	return stored, nil
}

// checkContentPath checks one content path and returns its version.
func checkContentPath(p string) (version int, err error) {
	if !utf8.ValidString(p) {
		return 0, fmt.Errorf("the content path %q is not valid UTF-8", names.Clip(p))
	}
	if p == "" || p[0] == '/' || p[len(p)-1] == '/' {
		return 0, fmt.Errorf("the content path %q is empty, or begins or ends with a slash (E100)", names.Clip(p))
	}
	if why := pathFault(p); why != "" {
		return 0, fmt.Errorf("the content path %q %s", names.Clip(p), strings.ReplaceAll(why, "E052", "E099"))
	}
	n, _, ok := splitContent(p)
	if !ok {
		return 0, fmt.Errorf("the content path %q is not below v1/content/, v2/content/ and so on (E042)", names.Clip(p))
	}
	return n, nil
}

// checkState checks the logical paths of one state.
func checkState(state map[string]Digest) error {
	file := func(q string) bool { _, ok := state[q]; return ok }
	for p, d := range state {
		if why := pathFault(p); why != "" {
			return fmt.Errorf("the path %q %s", names.Clip(p), why)
		}
		if folder := fileAbove(p, file); folder != "" {
			return fmt.Errorf("the path %q is a file and the folder of %q (E095)", names.Clip(folder), names.Clip(p))
		}
		if name, ok := strings.CutPrefix(p, FoundPrefix); ok && name != d.String() {
			return fmt.Errorf("the path %q holds other bytes than it is named after", names.Clip(p))
		}
	}
	return nil
}

// fileAbove returns the first folder above p that is itself a file, or "".
func fileAbove(p string, file func(string) bool) string {
	for i := range len(p) {
		if p[i] == '/' && file(p[:i]) {
			return p[:i]
		}
	}
	return ""
}
