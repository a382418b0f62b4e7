package due

import (
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/manifest/geo"
	"linecamp/verify"
	"linecamp/verify/gather"
	"linecamp/verify/verifytest"
)

// listed writes the visits in short: "2026 06-07 to 07-05 lacks note".
func listed(r verify.DueReport) (out []string) {
	for _, v := range r.Visits {
		s := fmt.Sprintf("%d %s to %s", v.Year, v.Opens[5:], v.Closes[5:])
		if v.Over {
			s += " over"
		}
		if len(v.Lacks) > 0 {
			s += " lacks " + strings.Join(v.Lacks, ",")
		}
		out = append(out, s)
	}
	return out
}

func TestDueInEachSeason(t *testing.T) {
	both := func(years ...int) (lines []string) {
		for _, y := range years {
			lines = append(lines, fmt.Sprintf("%d-05-10 plot landscape note", y), fmt.Sprintf("%d-09-20 plot landscape note", y))
		}
		return lines
	}
	usual := both(2019, 2020, 2021, 2022, 2023, 2024, 2025)
	for _, tt := range []struct {
		name, card string
		lines      []string
		day        string
		within     int
		want       []string
	}{
		{"a year shows both", "", usual, "2026-02-01", 365, []string{"2026 04-26 to 05-24", "2026 09-06 to 10-04"}},
		{"the near one only", "", usual, "2026-04-20", 30, []string{"2026 04-26 to 05-24"}},
		{"both at once", "", usual, "2026-05-20", 120, []string{"2026 04-26 to 05-24", "2026 09-06 to 10-04"}},
		{"spring was made", "", append(both(2019, 2020, 2021, 2022, 2023, 2024, 2025), "2026-05-12 plot landscape note"), "2026-08-20", 30, []string{"2026 09-06 to 10-04"}},
		{"spring was made, and next year's comes", "", append(both(2019, 2020, 2021, 2022, 2023, 2024, 2025), "2026-05-12 plot landscape note"), "2026-08-20", 366,
			[]string{"2026 09-06 to 10-04", "2027 04-26 to 05-24"}},
		{"spring lacks a note", "", append(both(2019, 2020, 2021, 2022, 2023, 2024, 2025), "2026-05-12 plot landscape"), "2026-06-10", 30, []string{"2026 04-26 to 05-24 over lacks note"}},
		{"spring was missed for good", "", usual, "2026-09-10", 10, []string{"2026 09-06 to 10-04"}},
		{"declared, one closed", "[[expect]]\nseasons=['05-01 to 05-31','09-01 to 09-30']\n[[closed]]\nfrom=2026-05-20\nto=2026-06-30\nreason='fire'", usual, "2026-02-01", 365,
			[]string{"2026 09-01 to 09-30"}},
		{"every second year", "", verifytest.Every(2010, 2024, 2, "plot"), "2025-07-01", 365, []string{"2026 06-07 to 07-05"}},
		{"every second year, made", "", verifytest.Every(2010, 2026, 2, "plot"), "2026-07-01", 365, nil},
		{"one visit so far", "", verifytest.Every(2026, 2026, 1, "plot"), "2026-07-01", 365, []string{"2027 06-07 to 07-05"}},
		{"not visited last season", "", verifytest.Every(2010, 2025, 1, "plot"), "2026-07-01", 300, []string{"2026 06-07 to 07-05"}},
		{"a winter that opens in the year before its own", "", []string{"2022-01-03 plot", "2023-01-04 plot", "2024-01-05 plot", "2025-01-03 plot"}, "2025-12-01", 30, []string{"2026 12-21 to 01-18"}},
		{"retired", "retired=2025", verifytest.Every(2010, 2025, 1, "plot"), "2026-02-01", 365, nil},
		{"never visited, and declared", "[[expect]]\nsince=2026\nseasons=['06-10 to 07-10']", nil, "2026-02-01", 365, []string{"2026 06-10 to 07-10"}},
	} {
		now, _ := time.Parse(time.DateOnly, tt.day)
		r := Visits(gather.Input{Now: now.Add(13 * time.Hour), Sites: []gather.SiteItems{verifytest.Carded(t, tt.card, tt.lines...)}}, tt.within)
		if got := listed(r); !slices.Equal(got, tt.want) {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}

func TestDueSaysWhatComesNext(t *testing.T) {
	s := verifytest.Carded(t, "[[expect]]\nevery=9\nseasons=['06-10 to 07-10']", verifytest.Every(2025, 2025, 1, "plot")...)
	s.Position = &geo.Position{Latitude: 41.5, Longitude: -106.25}
	now := time.Date(2026, 2, 1, 12, 0, 0, 0, time.UTC)
	r := Visits(gather.Input{Now: now, Sites: []gather.SiteItems{s}}, 365)
	if len(r.Visits) != 0 || r.Next == nil || r.Next.Opens != "2034-06-10" {
		t.Fatalf("%+v", r)
	}
	days := r.Ahead
	in := gather.Input{Now: now, Sites: []gather.SiteItems{s}}
	if r, less := Visits(in, days), Visits(in, days-1); len(r.Visits) != 1 || len(less.Visits) != 0 {
		t.Errorf("within %d days %q, within one less %q", days, listed(r), listed(less))
	}
	r.WithoutPositions()
	if r.Next.Position != nil {
		t.Error("the next visit's position is told")
	}
	s.Card.Retired = "2025-12-31"
	if r := Visits(gather.Input{Now: now, Sites: []gather.SiteItems{s}}, 365); r.Next != nil {
		t.Errorf("of a retired site: %+v", r.Next)
	}
}

// Keys in JSON are small letters, positions' too.
func TestDueJSONKeys(t *testing.T) {
	b, err := json.Marshal(dueOn(t, "2026-08-20", 30))
	if err != nil {
		t.Fatal(err)
	}
	if bad := regexp.MustCompile(`"[^"]*[A-Z][^"]*":`).FindAllString(string(b), -1); bad != nil || !strings.Contains(string(b), `"latitude":41.5`) {
		t.Errorf("keys %q in %s", bad, b)
	}
}

func TestDueVisits(t *testing.T) {
	for _, tt := range []struct {
		day    string
		within int
		want   []string
	}{
		{"2026-05-01", 30, nil},
		{"2026-05-20", 30, []string{"Stake 3 2026-06-10"}},
		{"2026-07-01", 30, []string{"Stake 3 2026-06-10"}},
		{"2026-08-20", 30, []string{"Stake 3 2026-06-10 over", "Stake 4 2026-09-01"}},
		{"2026-05-20", 200, []string{"Stake 3 2026-06-10", "Stake 4 2026-09-01"}},
		{"2026-12-20", 200, []string{"Stake 4 2026-09-01 over", "Stake 3 2027-06-10"}},
	} {
		r := dueOn(t, tt.day, tt.within)
		var got []string
		for _, v := range r.Visits {
			s := v.Site[:7] + " " + v.Opens
			if v.Over {
				s += " over"
			}
			got = append(got, s)
		}
		if !slices.Equal(got, tt.want) {
			t.Errorf("on %s, %d days: %q, want %q", tt.day, tt.within, got, tt.want)
		}
		if len(r.Closed) != 1 || r.Closed[0].Site != "Stake 5" || r.Closed[0].Why != "closed: fire" {
			t.Errorf("on %s: closed %+v", tt.day, r.Closed)
		}
	}
}
