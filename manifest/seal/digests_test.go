package seal_test

import (
	"maps"
	"strings"
	"testing"

	"linecamp/manifest"
	"linecamp/manifest/seal"
)

func TestDigests(t *testing.T) {
	a, b := manifest.Sum([]byte("a")), manifest.Sum([]byte("b"))
	for text, want := range map[string][]manifest.Digest{
		"": nil,
		"0000000001 2026-07-02T02:30:00Z version x v1 " + a.String() + "\n":    {a},
		"late 3 " + a.String() + " \"met\"\n":                                  {a},
		a.String() + "J0000000002 " + b.String():                               {a, b}, // the end of a line rotted
		strings.ToUpper(a.String()) + " " + a.String()[1:]:                     nil,
		"\xff" + a.String() + "\xff" + b.String()[:30] + "*" + b.String()[31:]: {a},
	} {
		all := map[manifest.Digest]bool{}
		for _, d := range want {
			all[d] = true
		}
		if got := seal.Digests([]byte(text)); !maps.Equal(got, all) {
			t.Errorf("%q names %v", text, got)
		}
	}
	// Rot made a digit of what stands before, or behind.
	for _, text := range []string{a.String() + "a0000000002 ", " v4b" + a.String() + "\n"} {
		if !seal.Digests([]byte(text))[a] {
			t.Errorf("%q does not name it", text)
		}
	}
}
