package verify

import (
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"linecamp/manifest/geo"
	"linecamp/manifest/words"
)

// listed writes the visits in short: "2026 06-07 to 07-05 lacks note".
func listed(r DueReport) (out []string) {
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
		{"every second year", "", every(2010, 2024, 2, "plot"), "2025-07-01", 365, []string{"2026 06-07 to 07-05"}},
		{"every second year, made", "", every(2010, 2026, 2, "plot"), "2026-07-01", 365, nil},
		{"one visit so far", "", every(2026, 2026, 1, "plot"), "2026-07-01", 365, []string{"2027 06-07 to 07-05"}},
		{"not visited last season", "", every(2010, 2025, 1, "plot"), "2026-07-01", 300, []string{"2026 06-07 to 07-05"}},
		{"a winter that opens in the year before its own", "", []string{"2022-01-03 plot", "2023-01-04 plot", "2024-01-05 plot", "2025-01-03 plot"}, "2025-12-01", 30, []string{"2026 12-21 to 01-18"}},
		{"retired", "retired=2025", every(2010, 2025, 1, "plot"), "2026-02-01", 365, nil},
		{"never visited, and declared", "[[expect]]\nsince=2026\nseasons=['06-10 to 07-10']", nil, "2026-02-01", 365, []string{"2026 06-10 to 07-10"}},
	} {
		now, _ := time.Parse(time.DateOnly, tt.day)
		r := DueVisits(YearsInput{Now: now.Add(13 * time.Hour), Sites: []SiteItems{carded(t, tt.card, tt.lines...)}}, tt.within)
		if got := listed(r); !slices.Equal(got, tt.want) {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}

// Looking further ahead never hides a visit, and a look over a year has every
// season that a site keeps each year.
func TestDueGrowsWithTheDaysAhead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := YearsInput{}
		var last []period
		for i := range rapid.IntRange(1, 3).Draw(t, "sites") {
			p := aPeriod(t, 5, fmt.Sprintf("%d:", i))
			last = append(last, p)
			visits := history(t, []period{p})
			shift := 2025 - visits[len(visits)-1].day.Year()
			for k := range visits {
				visits[k].day = visits[k].day.AddDate(shift, 0, 0)
			}
			if i == 0 {
				in.Now = visits[len(visits)-1].day.AddDate(0, 0, rapid.IntRange(-100, 500).Draw(t, "days since"))
			}
			visits = slices.DeleteFunc(visits, func(v spell) bool { return v.day.After(in.Now) })
			s := siteOf(visits)
			s.Site = fmt.Sprint(i)
			in.Sites = append(in.Sites, s)
		}
		key := func(v DueVisit) string { return v.Site + " " + v.Opens + " " + v.Closes + fmt.Sprint(v.Lacks, v.Over) }
		near := rapid.IntRange(0, 400).Draw(t, "near")
		far := near + rapid.IntRange(0, 400).Draw(t, "further")
		var wide []string
		for _, v := range DueVisits(in, far).Visits {
			wide = append(wide, key(v))
		}
		for _, v := range DueVisits(in, near).Visits {
			if !slices.Contains(wide, key(v)) {
				t.Fatalf("on %s: %q within %d days and not within %d: %q", in.Now.Format(time.DateOnly), key(v), near, far, wide)
			}
		}
		year := DueVisits(in, 366)
		for i, p := range last {
			for _, day := range p.seasons {
				has := slices.ContainsFunc(year.Visits, func(v DueVisit) bool {
					middle := time.Date(v.Year, 1, day, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
					return v.Site == fmt.Sprint(i) && v.Opens <= middle && middle <= v.Closes
				})
				if p.every == 1 && !has {
					t.Fatalf("on %s: site %d, %v: no season about day %d in %q", in.Now.Format(time.DateOnly), i, p, day, listed(year))
				}
			}
		}
	})
}

func TestDueSaysWhatComesNext(t *testing.T) {
	s := carded(t, "[[expect]]\nevery=9\nseasons=['06-10 to 07-10']", every(2025, 2025, 1, "plot")...)
	s.Position = &geo.Position{Latitude: 41.5, Longitude: -106.25}
	now := time.Date(2026, 2, 1, 12, 0, 0, 0, time.UTC)
	r := DueVisits(YearsInput{Now: now, Sites: []SiteItems{s}}, 365)
	if len(r.Visits) != 0 || r.Next == nil || r.Next.Opens != "2034-06-10" {
		t.Fatalf("%+v", r)
	}
	var out strings.Builder
	r.Print(words.Writer(&out, words.Line{Archive: "saltbush-draw"}))
	m := regexp.MustCompile(`opens on 2034-06-10, at Windmill / Stake 3\. To see it: linecamp due --within (\d+)d --archive saltbush-draw`).FindStringSubmatch(out.String())
	if m == nil {
		t.Fatal(out.String())
	}
	days := 0
	fmt.Sscan(m[1], &days)
	in := YearsInput{Now: now, Sites: []SiteItems{s}}
	if r, less := DueVisits(in, days), DueVisits(in, days-1); len(r.Visits) != 1 || len(less.Visits) != 0 {
		t.Errorf("within %d days %q, within one less %q", days, listed(r), listed(less))
	}
	r.WithoutPositions()
	if r.Next.Position != nil {
		t.Error("the next visit's position is told")
	}
	s.Card.Retired = "2025-12-31"
	if r := DueVisits(YearsInput{Now: now, Sites: []SiteItems{s}}, 365); r.Next != nil {
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
