package walk

import (
	"context"
	"strings"
	"testing"
)

// TestXXH64 checks values of the xxHash specification with seed 0. They are
// from memory of the specification and of its reference implementation: the
// hash of nothing, of "a", of "abc", and of a text longer than one stripe.
func TestXXH64(t *testing.T) {
	for in, want := range map[string]uint64{
		"":    0xef46db3751d8e999,
		"a":   0xd24ec4f1a98c6e5b,
		"abc": 0x44bc2cf5ad770999,
		"Nobody inspects the spammish repetition": 0xfbcea83c8a378bf1,
	} {
		_, got, _, err := newReader().hash(context.Background(), strings.NewReader(in), func(int) {})
		if err != nil || got != want {
			t.Errorf("XXH64(%q) = %016x, want %016x (%v)", in, got, want, err)
		}
	}
}
