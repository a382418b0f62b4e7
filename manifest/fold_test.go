package manifest

import (
	"testing"
)

func TestFolded(t *testing.T) {
	for _, tt := range []struct {
		a, b string
		same bool
	}{
		{"CANON GATE", "Cañon Gate", true},
		{"Cañon", "Can\u0303on", true}, // two ways to write one letter
		{"CAN\u0303ON", "cañon", true},
		{"Éolienne", "eolienne", true},
		{"ΣΊΣΥΦΟΣ", "σισυφοσ", true},
		{"Stake 1", "Stake 2", false},
		{"Stake 1", "Stake1", false},
		{"कि", "क", false}, // a vowel, not an accent
		{"", "", true},
	} {
		if got := Folded(tt.a) == Folded(tt.b); got != tt.same {
			t.Errorf("%q and %q: %v", tt.a, tt.b, got)
		}
	}
}
