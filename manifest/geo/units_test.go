package geo_test

import (
	"math"
	"testing"

	"linecamp/manifest/geo"
)

// Worked by hand from the definitions: a foot is 0.3048 m, a mile 5,280 feet
// (NIST SP 811, appendix B).
func TestDistancesArePrintedInTheUnitsOfTheArchive(t *testing.T) {
	for _, c := range []struct {
		meters       float64
		metric, feet string
	}{
		{0, "0 m", "0 ft"}, {2, "2 m", "7 ft"}, {15.24, "15 m", "50 ft"}, {50, "50 m", "164 ft"},
		{804.5, "804 m", "2639 ft"}, {804.672, "805 m", "0.5 mi"}, {999.4, "999 m", "0.6 mi"}, {999.6, "1.0 km", "0.6 mi"},
		{1609.344, "1.6 km", "1.0 mi"}, {9949, "9.9 km", "6.2 mi"}, {9951, "10 km", "6.2 mi"}, {16093.44, "16 km", "10 mi"}, {9119000, "9119 km", "5666 mi"},
	} {
		if got := geo.Meters.Distance(c.meters); got != c.metric {
			t.Errorf("%v m is printed as %s, want %s", c.meters, got, c.metric)
		}
		if got := geo.Feet.Distance(c.meters); got != c.feet {
			t.Errorf("%v m is printed as %s, want %s", c.meters, got, c.feet)
		}
	}
}

func TestReword(t *testing.T) {
	text := "2 photos taken 120 m from the site (good to 45 m); the nearest is Stake 4, 1.2 km away"
	far := []float64{120.3, 45, 1200}
	if got := geo.Feet.Reword(text, far...); got != "2 photos taken 395 ft from the site (good to 148 ft); the nearest is Stake 4, 0.7 mi away" {
		t.Error(got)
	}
	for _, u := range []geo.Units{geo.Meters, ""} {
		if got := u.Reword(text, far...); got != text {
			t.Error(got)
		}
	}
	if got := geo.Feet.Reword("no distance", 5); got != "no distance" {
		t.Error(got)
	}
}

func TestParseLength(t *testing.T) {
	for s, want := range map[string]float64{
		"50m": 50, "150ft": 45.72, "150 ft": 45.72, "1.5 Feet": 0.4572, "12.5": 12.5, "3 metres": 3, "3meters": 3,
		"": -1, "ft": -1, "50 km": -1, "-5m": -1, "1e3m": -1, "0x10": -1, "NaN": -1, "5 0m": -1, "50m2": -1,
	} {
		got, err := geo.ParseLength(s)
		if want < 0 && err == nil || want >= 0 && (err != nil || math.Abs(got-want) > 1e-9) {
			t.Errorf("%q is %v, %v", s, got, err)
		}
	}
}
