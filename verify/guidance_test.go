package verify

import (
	"math"
	"testing"
	"time"

	"linecamp/manifest/geo"
	"linecamp/manifest/tally"
)

// TestCircularAgainstTextbooks: both examples from memory; the mean and the
// length of the mean vector are given there to the digits held to here.
func TestCircularAgainstTextbooks(t *testing.T) {
	for _, c := range []struct {
		source       string
		degrees      []float64
		mean, within float64
		length       float64
	}{
		// Mardia, Statistics of Directional Data (1972), the roulette wheel's stops;
		// also in Mardia and Jupp, section 2.2.
		{"roulette", []float64{43, 45, 52, 61, 75, 88, 88, 279, 357}, 51, 0.5, 0.711},
		// Zar, Biostatistical Analysis, the trees' leaning (example 26.4 of the fourth
		// edition).
		{"trees", []float64{45, 55, 81, 96, 110, 117, 132, 154}, 99, 0.5, 0.82522},
	} {
		f := make([]float64, len(c.degrees))
		for i, d := range c.degrees {
			f[i] = d / 360
		}
		mean, deviation := circular(f)
		// Our deviation is sqrt(-2 ln R) as a fraction of the circle.
		length := math.Exp(-math.Pow(deviation*2*math.Pi, 2) / 2)
		if math.Abs(mean*360-c.mean) > c.within || math.Abs(length-c.length) > 0.0006 {
			t.Errorf("%s: mean %.2f, length %.5f; want %g and %g", c.source, mean*360, length, c.mean, c.length)
		}
	}
}

// A record kept as published guidance has it gives no finding.
func TestRecordsKeptByTheBook(t *testing.T) {
	t.Run("every five years in the same month", func(t *testing.T) {
		// US Forest Service, FSH 1609.21, supplement R2 2409.17-94-1, 31.12: permanent
		// camera points are photographed "normally" every five years, during the same
		// month as the first time.
		s := siteWith("1990-07-02 plot landscape", "1995-07-30 plot landscape", "2000-07-11 plot landscape", "2005-07-20 plot landscape",
			"2010-07-05 plot landscape", "2015-07-28 plot landscape", "2020-07-16 plot landscape")
		for _, day := range []string{"2021-01-01", "2024-12-31", "2025-07-31", "2025-09-30"} {
			now, err := time.Parse(time.DateOnly, day)
			if err != nil {
				t.Fatal(err)
			}
			in := YearsInput{Now: now, Sites: []SiteItems{s}}
			years := Years(in)
			for _, y := range years {
				if y.State != Whole && !(y.State == Due && y.Year == 2025 && now.Year() == 2025) {
					t.Errorf("on %s: %+v", day, y)
				}
			}
			if found := told(Findings(in, years)); len(found) > 0 {
				t.Errorf("on %s: %q", day, found)
			}
		}
	})
	t.Run("the camera ten metres from the stake", func(t *testing.T) {
		// PNW-GTR-526 (Hall, 2002), part A, figure 16: the meter board stands 5, 7 or
		// 10 m from the camera. A phone's position adds some metres to that.
		s := SiteItems{Site: "Stake 3", Position: &stake}
		for i, m := range []float64{5, 7, 10, -5, -7, -10} {
			day := time.Date(2015+i, 7, 1, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
			s.Items = append(s.Items, shot(day, day, day, metresNorth(m+math.Copysign(10, m), 0)),
				shot(day+"b", day, day, func(f *tally.File) {
					f.At = &geo.Fix{Position: geo.Position{Latitude: stake.Latitude, Longitude: stake.Longitude + (m+math.Copysign(10, m))/83_600}}
				}))
		}
		in := YearsInput{Now: time.Date(2021, 1, 1, 0, 0, 0, 0, time.UTC), Sites: []SiteItems{s}}
		if found := told(Findings(in, nil)); len(found) > 0 {
			t.Errorf("%q", found)
		}
	})
}
