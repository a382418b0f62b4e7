package intake

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"linecamp/manifest/geo"
	"linecamp/manifest/tally"
)

func testSites(at ...float64) []*site {
	var all []*site
	for i, m := range at {
		s := &site{Site: &tally.Site{Site: string(rune('A' + i))}, archive: &Archive{}}
		if m >= 0 {
			s.at = east_(m)
		}
		all = append(all, s)
	}
	return all
}

// told writes groups as "A:2 ?:1", the site and the number of pictures.
func told(all []*group) string {
	var words []string
	for _, g := range all {
		name := "?"
		if g.site != nil {
			name = g.site.Site.Site
		}
		words = append(words, fmt.Sprintf("%s:%d", name, len(g.shots)))
	}
	return strings.Join(words, " ")
}

func TestGroups(t *testing.T) {
	const d = "2026-06-24 "
	for _, c := range []struct {
		name  string
		sites []float64
		shots []*shot
		want  string
	}{
		{"two sites by position", []float64{0, 1000}, []*shot{at(d+"09:00", 3), at(d+"09:02", 6), at(d+"09:09", 1004), at(d+"09:10", 1001)}, "A:2 B:2"},
		{"a pause within one site is one visit", []float64{0, 1000}, []*shot{at(d+"09:00", 3), at(d+"11:00", 4)}, "A:2"},
		{"there and back is one visit", []float64{0, 1000}, []*shot{at(d+"09:00", 3), at(d+"09:20", 1001), at(d+"09:40", 2)}, "A:2 B:1"},
		{"two days are two visits", []float64{0}, []*shot{at(d+"23:58", 3), at("2026-06-25 00:01", 4)}, "A:1 A:1"},
		{"too far from any", []float64{0, 1000}, []*shot{at(d+"09:00", 400)}, "?:1"},
		{"between two", []float64{0, 60}, []*shot{at(d+"09:00", 30)}, "?:1"},
		{"nearer to one of two close ones", []float64{0, 60}, []*shot{at(d+"09:00", 12)}, "A:1"},
		{"no position: by the pause", []float64{0}, []*shot{at(d+"09:00", -1), at(d+"09:15", -1), at(d+"09:31", -1)}, "?:2 ?:1"},
		{"one picture without a fix goes with its neighbors", []float64{0}, []*shot{at(d+"09:00", 2), at(d+"09:03", -1)}, "A:2"},
		{"no site has a position", []float64{-1}, []*shot{at(d+"09:00", 2)}, "?:1"},
	} {
		if got := told(groups(c.shots, testSites(c.sites...), 50)); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}

func TestStatedErrorWidens(t *testing.T) {
	s := at("2026-06-24 09:00", 70)
	if got := told(groups([]*shot{s}, testSites(0), 50)); got != "?:1" {
		t.Errorf("without an error: %s", got)
	}
	s.at.within = 25
	if got := told(groups([]*shot{s}, testSites(0), 50)); got != "A:1" {
		t.Errorf("with 25 m of error: %s", got)
	}
}

func TestInOrder(t *testing.T) {
	const d = "2026-06-24 "
	s := testSites(0, 1000, 2000, 3000)
	a, b, c, e := s[0], s[1], s[2], s[3]
	for _, tc := range []struct {
		name  string
		order [][]*site
		shots []*shot
		want  string
	}{
		{"as many as sites", [][]*site{{a, b, c}}, []*shot{at(d+"09:00", -1), at(d+"10:00", -1), at(d+"11:00", -1)}, "A:1 B:1 C:1"},
		{"one too few", [][]*site{{a, b, c}}, []*shot{at(d+"09:00", -1), at(d+"10:00", -1)}, "?:1 ?:1"},
		{"one between two known", [][]*site{{a, b, c, e}}, []*shot{at(d+"09:00", 0), at(d+"10:00", -1), at(d+"11:00", 2000)}, "A:1 B:1 C:1"},
		{"one before a known one", [][]*site{{a, b, c, e}}, []*shot{at(d+"09:00", -1), at(d+"10:00", 1000), at(d+"11:00", -1)}, "A:1 B:1 ?:1"},
		{"the order changed last year", [][]*site{{a, b, c}, {b, a, c}}, []*shot{at(d+"09:00", -1), at(d+"10:00", -1), at(d+"11:00", -1)}, "?:1 ?:1 ?:1"},
		{"walked the other way round", [][]*site{{a, b, c}}, []*shot{at(d+"09:00", 2000), at(d+"10:00", -1), at(d+"11:00", 0)}, "C:1 ?:1 A:1"},
		{"a picture that says it is elsewhere", [][]*site{{a, b}}, []*shot{at(d+"09:00", 9000), at(d+"10:00", -1)}, "?:1 ?:1"},
		{"no other year", nil, []*shot{at(d+"09:00", -1)}, "?:1"},
	} {
		all := groups(tc.shots, s, 50)
		inOrder(all, tc.order)
		if got := told(all); got != tc.want {
			t.Errorf("%s: %s, want %s", tc.name, got, tc.want)
		}
	}
}

// A degree of latitude on a sphere of the mean radius R is πR/180. At 45°,
// a degree on the WGS 84 ellipsoid is 111,132 m along the meridian and 78,847 m
// along the parallel (NGA TR 8350.2's ellipsoid; the figures from memory); the
// sphere may be half a percent off.
func TestMeters(t *testing.T) {
	for _, c := range []struct {
		a, b spot
		want float64
	}{
		{spot{lat: 44.5}, spot{lat: 45.5}, 111_132},
		{spot{lat: 45}, spot{lat: 45, lon: 1}, 78_847},
		{spot{lat: 45, lon: 179.5}, spot{lat: 45, lon: -179.5}, 78_847},
	} {
		if got := meters(c.a, c.b); math.Abs(got-c.want) > c.want/200 {
			t.Errorf("%v to %v: %.0f m, want %.0f", c.a, c.b, got, c.want)
		}
	}
}

func TestMiddleAcrossTheDateLine(t *testing.T) {
	m := middle([]spot{{lon: 179.9, known: true}, {lon: -179.9, known: true}, {lon: -179.8, known: true}})
	if math.Abs(m.lon+179.9) > 1e-9 {
		t.Errorf("longitude %v", m.lon)
	}
}

func TestTrack(t *testing.T) {
	gpx := `<?xml version="1.0"?><gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><wpt lat="1" lon="1"><name>x</name></wpt><trk><trkseg>
<trkpt lat="40" lon="-110"><time>2026-06-24T15:00:00Z</time></trkpt>
<trkpt lat="40.001" lon="-110"><time>2026-06-24T15:02:00Z</time></trkpt>
<trkpt lat="41" lon="-110"><time>2026-06-24T16:02:00Z</time></trkpt></trkseg></trk></gpx>`
	tr, err := ReadTrack(strings.NewReader(gpx))
	if err != nil {
		t.Fatal(err)
	}
	moment := func(s string) time.Time { m, _ := time.Parse(time.RFC3339, s); return m }
	if s := tr.at(moment("2026-06-24T09:01:00-06:00")); !s.known || math.Abs(s.lat-40.0005) > 1e-9 {
		t.Errorf("half way: %v", s)
	}
	for _, when := range []string{"2026-06-24T14:59:59Z", "2026-06-24T15:30:00Z", "2026-06-24T16:02:01Z"} {
		if s := tr.at(moment(when)); s.known {
			t.Errorf("%s: %v, though nobody knows", when, s)
		}
	}
	for _, bad := range []string{"", "not xml", "<kml/>", `<gpx><wpt lat="1" lon="2"><name>a</name><time>2026-06-24T15:00:00Z</time></wpt></gpx>`, `<gpx><trk><trkseg><trkpt lat="1" lon="2"/></trkseg></trk></gpx>`, `<gpx><trk><trkseg><trkpt lat="x" lon="2"></trkpt>`} {
		if _, err := ReadTrack(strings.NewReader(bad)); err == nil {
			t.Errorf("%q was read", bad)
		}
	}
}

// A track's points are places on the earth or nothing at all; a point that is no
// number would compare as neither near nor far.
func TestTrackOfNowhere(t *testing.T) {
	const form = `<gpx><trk><trkseg><trkpt lat="%s" lon="%s"><time>2026-06-24T15:00:00Z</time></trkpt></trkseg></trk></gpx>`
	for _, p := range [][2]string{{"NaN", "-110"}, {"40", "NaN"}, {"Inf", "-110"}, {"90.0001", "0"}, {"40", "-180.5"}, {"0", "0"}} {
		if tr, err := ReadTrack(strings.NewReader(fmt.Sprintf(form, p[0], p[1]))); err == nil {
			t.Errorf("%v: %+v", p, tr.points)
		}
	}
	// Over the 180th meridian the way is short.
	tr, err := ReadTrack(strings.NewReader(`<gpx><trk><trkseg><trkpt lat="52" lon="179.9998"><time>2026-06-24T15:00:00Z</time></trkpt>
<trkpt lat="52" lon="-179.9998"><time>2026-06-24T15:02:00Z</time></trkpt></trkseg></trk></gpx>`))
	if err != nil {
		t.Fatal(err)
	}
	half, _ := time.Parse(time.RFC3339, "2026-06-24T15:01:00Z")
	if s := tr.at(half); !s.known || math.Abs(math.Abs(s.lon)-180) > 1e-9 {
		t.Errorf("half way over the 180th meridian: %+v", s)
	}
}

func FuzzReadTrack(f *testing.F) {
	f.Add(`<gpx><trk><trkseg><trkpt lat="40" lon="-110"><time>2026-06-24T15:00:00Z</time></trkpt><trkpt lat="NaN" lon="1e400"><time>2026-06-24T15:02:00Z</time></trkpt></trkseg></trk></gpx>`)
	f.Add("<gpx><trk")
	f.Fuzz(func(t *testing.T, text string) {
		tr, err := ReadTrack(strings.NewReader(text))
		if err != nil {
			return
		}
		for i, p := range tr.points {
			for _, s := range []spot{tr.at(p.when), tr.at(p.when.Add(time.Second))} {
				if s.known && !(geo.Position{Latitude: s.lat, Longitude: s.lon}).Valid() {
					t.Errorf("point %d: %+v", i, s)
				}
			}
		}
	})
}
