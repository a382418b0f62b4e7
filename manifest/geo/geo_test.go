package geo

import (
	"math"
	"testing"
)

func dms(d, m, s float64) float64 { return math.Copysign(math.Abs(d)+m/60+s/3600, d) }

func TestDistanceAgainstPublishedExamples(t *testing.T) {
	for _, c := range []struct {
		name   string
		a, b   Position
		metres float64
		within float64
	}{
		// Geocentric Datum of Australia Technical Manual (ICSM), worked example
		// of Vincenty's formulae: Flinders Peak to Buninyong. It is given on
		// GRS 80, whose flattening differs from WGS 84's in the eleventh digit:
		// less than a millimetre over this line. Several public programs have the same
		// figures in their tests; the manual itself was not at hand.
		{"Flinders Peak to Buninyong", Position{dms(-37, 57, 3.72030), dms(144, 25, 29.52440)},
			Position{dms(-37, 39, 10.15610), dms(143, 55, 35.38390)}, 54972.271, 0.0011},
		// GeodSolve(1) of GeographicLib, first example: JFK to LHR, with
		// "003-18-29.9" and the like rounded to tenths of a degree. From memory.
		{"JFK to LHR", Position{40.6, -73.8}, Position{51.6, -0.5}, 5551759.400, 0.0011},
		// A published page on Vincenty's formulae (movable-type.co.uk, "Vincenty
		// solutions of geodesics on the ellipsoid"): Land's End to John o' Groats on
		// WGS 84; several public programs have it in their tests.
		{"Land's End to John o' Groats", Position{50.06632, -5.71475}, Position{58.64402, -3.07009}, 969954.166, 0.0011},
		// One degree of longitude on the equator is a·π/180 exactly; the quarter
		// meridian of WGS 84 is 10,001,965.729 m (NGA.STND.0036; from memory).
		{"along the equator", Position{0, 10}, Position{0, 11}, 6378137 * math.Pi / 180, 1e-6},
		{"equator to pole", Position{0, 0}, Position{90, 0}, 10001965.729, 0.0011},
	} {
		for _, d := range []float64{Distance(c.a, c.b), Distance(c.b, c.a)} {
			if math.Abs(d-c.metres) > c.within {
				t.Errorf("%s: %.4f m, want %.4f", c.name, d, c.metres)
			}
		}
	}
}

func TestDistanceAtItsEdges(t *testing.T) {
	stake := Position{41.2345, -106.5432}
	if d := Distance(stake, stake); d != 0 {
		t.Errorf("from a point to itself: %g m", d)
	}
	// Across the date line, a tenth of a second of longitude at the equator.
	if d := Distance(Position{0, 180}, Position{0, -179.99}); math.Abs(d-1113.195) > 0.001 {
		t.Errorf("across the date line: %g m", d)
	}
	// Nearly opposite sides of the earth: about 20,004 km, and an answer at all.
	if d := Distance(Position{0.1, 0}, Position{0.2, 179.9}); d < 19.8e6 || d > 20.2e6 {
		t.Errorf("to the other side of the earth: %g m", d)
	}
}

func TestMiddle(t *testing.T) {
	for _, c := range []struct {
		of   []Position
		want Position
	}{
		{nil, Position{}},
		{[]Position{{41, -106}}, Position{41, -106}},
		{[]Position{{41, -106}, {42, -107}}, Position{41.5, -106.5}},
		{[]Position{{41, -106}, {41, -106}, {10, 20}}, Position{41, -106}}, // one from elsewhere moves nothing
		{[]Position{{52, 179.5}, {52, -179.5}, {52, 179}}, Position{52, 179.5}},
		{[]Position{{52, -179}, {52, 179.5}, {52, -179.5}}, Position{52, -179.5}},
		{[]Position{{52, 179.5}, {52, -178.5}}, Position{52, -179.5}},
	} {
		if got := Middle(c.of); Distance(got, c.want) > 1e-6 || !got.Valid() {
			t.Errorf("%v: %v, want %v", c.of, got, c.want)
		}
	}
}

func TestTold(t *testing.T) {
	nan := math.NaN()
	for _, p := range []Position{{}, {nan, 1}, {1, nan}, {math.Inf(1), 0}, {90.001, 0}, {0, -180.001}, {0, math.Copysign(0, -1)}} {
		if p.Told() {
			t.Errorf("%v is a place", p)
		}
	}
	for _, p := range []Position{{0, 1e-9}, {90, 0}, {-90, 180}, {41, -180}} {
		if !p.Told() {
			t.Errorf("%v is no place", p)
		}
	}
}

func FuzzDistance(f *testing.F) {
	f.Add(40.6, -73.8, 51.6, -0.5)
	f.Add(0.0, 0.0, 0.0, 180.0)
	f.Add(90.0, 0.0, -90.0, 0.0)
	f.Fuzz(func(t *testing.T, a, b, c, d float64) {
		p, q := Position{a, b}, Position{c, d}
		if !p.Valid() || !q.Valid() {
			t.Skip()
		}
		m := Distance(p, q)
		if math.IsNaN(m) || m < 0 || m > 20.1e6 {
			t.Errorf("%v to %v: %g m", p, q, m)
		}
	})
}
