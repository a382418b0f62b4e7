package years_test

import (
	"math"
	"testing"
	"time"

	"linecamp/manifest/geo"
	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/findings"
	"linecamp/verify/gather"
	"linecamp/verify/verifytest"
	"linecamp/verify/years"
)

// A record kept as published guidance has it gives no finding.
func TestRecordsKeptByTheBook(t *testing.T) {
	t.Run("every five years in the same month", func(t *testing.T) {
		// US Forest Service, FSH 1609.21, supplement R2 2409.17-94-1, 31.12: permanent
		// camera points are photographed "normally" every five years, during the same
		// month as the first time.
		s := verifytest.SiteWith("1990-07-02 plot landscape", "1995-07-30 plot landscape", "2000-07-11 plot landscape", "2005-07-20 plot landscape",
			"2010-07-05 plot landscape", "2015-07-28 plot landscape", "2020-07-16 plot landscape")
		for _, day := range []string{"2021-01-01", "2024-12-31", "2025-07-31", "2025-09-30"} {
			now, err := time.Parse(time.DateOnly, day)
			if err != nil {
				t.Fatal(err)
			}
			in := gather.Input{Now: now, Sites: []gather.SiteItems{s}}
			judged := years.Judge(in)
			for _, y := range judged {
				if y.State != verify.Whole && !(y.State == verify.Due && y.Year == 2025 && now.Year() == 2025) {
					t.Errorf("on %s: %+v", day, y)
				}
			}
			if found := verifytest.Told(findings.Of(in, judged)); len(found) > 0 {
				t.Errorf("on %s: %q", day, found)
			}
		}
	})
	t.Run("the camera ten meters from the stake", func(t *testing.T) {
		// PNW-GTR-526 (Hall, 2002), part A, figure 16: the meter board stands 5, 7 or
		// 10 m from the camera. A phone's position adds some meters to that.
		s := gather.SiteItems{Site: "Stake 3", Position: &verifytest.StakePlace}
		for i, m := range []float64{5, 7, 10, -5, -7, -10} {
			day := time.Date(2015+i, 7, 1, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
			s.Extra = append(s.Extra, verifytest.Shot(day, day, day, verifytest.MetersNorth(m+math.Copysign(10, m), 0)),
				verifytest.Shot(day+"b", day, day, func(f *tally.File) {
					f.At = &geo.Fix{Position: geo.Position{Latitude: verifytest.StakePlace.Latitude, Longitude: verifytest.StakePlace.Longitude + (m+math.Copysign(10, m))/83_600}}
				}))
		}
		in := gather.Input{Now: time.Date(2021, 1, 1, 0, 0, 0, 0, time.UTC), Sites: []gather.SiteItems{s}}
		if found := verifytest.Told(findings.Of(in, nil)); len(found) > 0 {
			t.Errorf("%q", found)
		}
	})
}
