package plan

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestPathList(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.SliceOf(rapid.StringMatching(`(2019|2020)?(-06-21)?/?[a-z\x{e9}]{0,3}`)).Draw(t, "paths")
		p := packPaths(want)
		if got := p.list(); p.len() != len(want) || !slices.Equal(got, want) && len(want) > 0 {
			t.Fatalf("%q, want %q", got, want)
		}
	})
}
