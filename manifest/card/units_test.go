package card

import (
	"math"
	"testing"
)

// How far pictures may be taken is written in any of these.
func TestTheReachOfASite(t *testing.T) {
	for text, want := range map[string]float64{"meters = 80": 80, "metres = 80.5": 80.5, "feet = 150": 45.72, "": 0} {
		c, faults := Decode("site.toml", []byte(text))
		if len(faults) > 0 || math.Abs(c.Meters-want) > 1e-9 {
			t.Errorf("%q: %v, %v", text, c.Meters, faults)
		}
	}
	for _, text := range []string{"feet = 1", "feet = 20000", "meters = '80'"} {
		if _, faults := Decode("site.toml", []byte(text)); len(faults) != 1 {
			t.Errorf("%q: %v", text, faults)
		}
	}
}
