package ocfl

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
)

func (c testCase) files() tree {
	b := c.build
	if b == nil {
		b = one()
	}
	last := len(b.versions)
	if c.edit != nil {
		b.edit = func(n int, inv m) {
			if n == last {
				c.edit(inv)
			}
		}
	}
	t := b.tree()
	if c.tree != nil {
		c.tree(t)
	}
	return t
}

// validate runs over the tree in memory and, where it can, over the same files
// in a real folder, and wants the same from both.
func validate(t *testing.T, files tree) Report {
	t.Helper()
	r, err := Validate(t.Context(), files, Options{})
	must(t, err)
	if l, ok := files.onDisk(t); ok {
		real, err := Validate(t.Context(), l, Options{})
		must(t, err)
		real.Root = r.Root
		if shown(real) != shown(r) {
			t.Errorf("in memory:\n%s\non disk:\n%s", shown(r), shown(real))
		}
	}
	if r.Wants() == r.Valid {
		t.Errorf("Wants is %v of a report that is valid: %v", r.Wants(), r.Valid)
	}
	return r
}

func check(t *testing.T, files tree, want string) {
	t.Helper()
	expect(t, validate(t, files), want)
}

func expect(t *testing.T, r Report, want string) {
	t.Helper()
	if got := codes(r); got != want {
		t.Errorf("found %q, want %q\n%s", got, want, shown(r))
	}
	if strings.Contains(want, "E") == r.Valid {
		t.Errorf("valid is %v with %q", r.Valid, want)
	}
}

func TestObjects(t *testing.T) {
	for _, c := range objectCases {
		t.Run(c.name, func(t *testing.T) { check(t, c.files(), c.want) })
	}
}

// Every object case is the same inside a storage root.
func TestObjectsInRoot(t *testing.T) {
	for _, c := range objectCases {
		if strings.Contains(c.want, "E003") || strings.Contains(c.want, "E004") || strings.Contains(c.want, "E005") {
			continue // without its declaration it may pass for something else there
		}
		t.Run(c.name, func(t *testing.T) {
			files := tree{}
			files.file("0=ocfl_1.1", "ocfl_1.1\n")
			files.under("stake-3", c.files())
			r, err := Validate(t.Context(), files, Options{})
			must(t, err)
			expect(t, r, c.want)
		})
	}
}

func TestRoots(t *testing.T) {
	for _, c := range rootCases {
		t.Run(c.name, func(t *testing.T) {
			spec := c.spec
			if spec == "" {
				spec = "1.1"
			}
			files := root(spec)
			if c.tree != nil {
				c.tree(files)
			}
			check(t, files, c.want)
		})
	}
}

// Every code of the lists has a case, or a reason why there is none.
func TestCodes(t *testing.T) {
	tested := map[string]bool{}
	note := func(want string) {
		for _, code := range strings.Fields(want) {
			tested[code] = true
		}
	}
	for _, c := range objectCases {
		note(c.want)
	}
	for _, c := range rootCases {
		note(c.want)
	}
	known := map[string]bool{}
	for _, l := range allCodes {
		for n := l.first; n <= l.last; n++ {
			if slices.Contains(l.absent, n) {
				continue
			}
			code := fmt.Sprintf("%c%03d", l.letter, n)
			known[code] = true
			if _, why := notTestable[code]; why == tested[code] {
				t.Errorf("%s: tested %v, said not to be testable %v", code, tested[code], why)
			}
		}
	}
	for _, code := range slices.Sorted(maps.Keys(tested)) {
		if !known[code] {
			t.Errorf("%s is tested and not on the list", code)
		}
	}
	t.Logf("%d codes, %d of them tested", len(known), len(tested))
}
