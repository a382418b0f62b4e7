package due

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"linecamp/manifest/card"
	"linecamp/manifest/geo"
	"linecamp/verify"
	"linecamp/verify/gather"
	"linecamp/verify/verifytest"
)

func dueOn(t *testing.T, day string, within int) verify.DueReport {
	t.Helper()
	now, err := time.Parse(time.DateOnly, day)
	if err != nil {
		t.Fatal(err)
	}
	three := verifytest.Carded(t, "[[expect]]\nseasons=['06-10 to 07-10']", verifytest.Every(2020, 2025, 1, "plot")...)
	three.Position = &geo.Position{Latitude: 41.5, Longitude: -106.25}
	four := verifytest.Carded(t, "[[expect]]\nseasons=['09-01 to 09-30']", verifytest.Every(2020, 2025, 1, "plot")...)
	four.Site, four.Object = "Stake 4, \"far\"; ümlaut and more words to fold the line with", "windmill--stake-4"
	five := verifytest.Carded(t, "[[closed]]\nfrom=2026\nreason='fire'", verifytest.Every(2020, 2025, 1, "plot")...)
	five.Site, five.Object = "Stake 5", "windmill--stake-5"
	r := Visits(gather.Input{Now: now, Sites: []gather.SiteItems{three, four, five}}, within)
	r.Archive = "saltbush-draw"
	return r
}

// RFC 5545: lines of at most 75 octets that end in CRLF and are folded between
// letters, text with its commas and semicolons escaped, and an end that is the
// day after the last.
func TestCalendar(t *testing.T) {
	r := dueOn(t, "2026-08-20", 30)
	text := string(Dues{r}.Calendar(time.Date(2026, 8, 20, 12, 0, 0, 0, time.UTC)))
	for l := range strings.SplitSeq(strings.TrimSuffix(text, "\r\n"), "\r\n") {
		if len(l) > 75 || !utf8.ValidString(l) || strings.ContainsAny(l, "\r\n") {
			t.Errorf("line %q", l)
		}
	}
	whole := strings.ReplaceAll(text, "\r\n ", "")
	for _, want := range []string{
		"DTSTART;VALUE=DATE:20260901\r\nDTEND;VALUE=DATE:20261001\r\n",
		`SUMMARY:Windmill / Stake 4\, "far"\; ümlaut and more words`,
		"GEO:41.500000;-106.250000\r\n", "UID:saltbush-draw-windmill--stake-3-2026-06-10@linecamp\r\n", "DTSTAMP:20260820T120000Z\r\n",
	} {
		if !strings.Contains(whole, want) {
			t.Errorf("no %q in\n%s", want, whole)
		}
	}
	if strings.Count(whole, "BEGIN:VEVENT") != 2 || strings.Count(whole, "END:VEVENT") != 2 {
		t.Error(whole)
	}
}

func TestPoints(t *testing.T) {
	r := dueOn(t, "2026-08-20", 30)
	b, err := Dues{r}.GPX()
	if err != nil {
		t.Fatal(err)
	}
	points, err := card.Waypoints(strings.NewReader(string(b)))
	if err != nil || len(points) != 1 || points[0].Name != "Windmill / Stake 3" || points[0].Position != (geo.Position{Latitude: 41.5, Longitude: -106.25}) {
		t.Errorf("%+v, %v\n%s", points, err, b)
	}
	// RFC 7946: longitude first; null where there is no place.
	type shape struct {
		Type     string
		Features []struct {
			Geometry *struct {
				Type        string
				Coordinates []float64
			}
			Properties struct{ Site, State, Closes string }
		}
	}
	read := func() (s shape) {
		b, err := Dues{r}.GeoJSON()
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(b, &s); err != nil {
			t.Fatal(err)
		}
		return s
	}
	s := read()
	if s.Type != "FeatureCollection" || len(s.Features) != 2 || !slices.Equal(s.Features[0].Geometry.Coordinates, []float64{-106.25, 41.5}) ||
		s.Features[1].Geometry != nil || s.Features[0].Properties.State != "due" {
		t.Errorf("%+v", s)
	}
	r.WithoutPositions()
	if s := read(); s.Features[0].Geometry != nil {
		t.Errorf("%+v", s.Features[0])
	}
	if text := string(Dues{r}.Calendar(time.Now())); strings.Contains(text, "GEO:") {
		t.Error(text)
	}
}

// Two archives in one file: each visit says whose it is, and keeps an id of its own.
func TestSeveralArchivesInOneFile(t *testing.T) {
	a, b := dueOn(t, "2026-08-20", 30), dueOn(t, "2026-08-20", 30)
	b.Archive = "breaks"
	both := Dues{a, b}
	text := strings.ReplaceAll(string(both.Calendar(time.Now())), "\r\n ", "")
	for _, want := range []string{"UID:saltbush-draw-windmill--stake-3-2026-06-10@linecamp", "UID:breaks-windmill--stake-3-2026-06-10@linecamp",
		"SUMMARY:breaks: Windmill / Stake 3\\, photo monitoring"} {
		if strings.Count(text, want) != 1 {
			t.Errorf("not once %q in\n%s", want, text)
		}
	}
	g, err := both.GPX()
	if err != nil || strings.Count(string(g), "<wpt") != 2 || !strings.Contains(string(g), "<name>breaks: Windmill / Stake 3</name>") {
		t.Errorf("%v\n%s", err, g)
	}
	j, err := both.GeoJSON()
	if err != nil || strings.Count(string(j), `"Feature"`) != 4 || strings.Count(string(j), `"archive": "breaks"`) != 2 {
		t.Errorf("%v\n%s", err, j)
	}
}
