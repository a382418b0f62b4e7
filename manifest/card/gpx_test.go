package card

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"linecamp/manifest/geo"
)

// The shape is that of GPX 1.1 (topografix.com/GPX/1/1/gpx.xsd): wpt below gpx,
// lat and lon as attributes, the name an element.
func gpx(inside string) string {
	return `<?xml version="1.0" encoding="UTF-8"?>` + "\n" +
		`<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">` + inside + `</gpx>`
}

func TestWaypoints(t *testing.T) {
	for _, c := range []struct {
		name, text, want string
		fault            string
	}{
		{"one", gpx(`<wpt lat="41.5" lon="-106.25"><ele>2000</ele><name> Stake 3 </name><desc>x</desc></wpt>`), "[{Stake 3 41.50000, -106.25000}]", ""},
		{"name in parts", gpx(`<wpt lat="1" lon="2"><name>A &amp; <![CDATA[B]]></name></wpt>`), "[{A & B 1.00000, 2.00000}]", ""},
		{"no name", gpx(`<wpt lat="1" lon="2"></wpt><wpt lat="1" lon="2"><name> </name></wpt>`), "[]", ""},
		{"no place", gpx(`<wpt lon="2"><name>A</name></wpt><wpt lat="x" lon="2"><name>B</name></wpt><wpt lat="91" lon="2"><name>C</name></wpt><wpt lat="NaN" lon="2"><name>D</name></wpt><wpt lat="1" lon="-Inf"><name>E</name></wpt><wpt lat="0.0" lon="-0"><name>F</name></wpt>`), "[]", ""},
		{"the edges", gpx(`<wpt lat="90" lon="180"><name>A</name></wpt><wpt lat="-90" lon="-180"><name>B</name></wpt>`), "[{A 90.00000, 180.00000} {B -90.00000, -180.00000}]", ""},
		{"names of other things", gpx(`<metadata><name>A</name></metadata><wpt lat="1" lon="2"><extensions><name>B</name></extensions></wpt><trk><name>C</name><trkseg><trkpt lat="1" lon="2"><name>D</name></trkpt></trkseg></trk>`), "[]", ""},
		{"cut off", gpx(`<wpt lat="1" lon="2"><name>A</name></wpt>`)[:155], "[{A 1.00000, 2.00000}]", "line 2"},
		{"not GPX", `<kml><wpt lat="1" lon="2"><name>A</name></wpt></kml>`, "[]", "begins with <kml>"},
		{"empty", "", "[]", "empty"},
		{"a photo", "\xff\xd8\xff\xe1", "[]", "line 1"},
		{"deep", gpx(strings.Repeat("<a>", 200)), "[]", "too deep"},
		{"an entity", `<!DOCTYPE gpx [<!ENTITY a "aaaa">]>` + `<gpx><wpt lat="1" lon="2"><name>&a;</name></wpt></gpx>`, "[]", "entity"},
	} {
		got, err := Waypoints(strings.NewReader(c.text))
		if fmt.Sprint(got) != c.want {
			t.Errorf("%s: %v, want %s", c.name, got, c.want)
		}
		if (err == nil) != (c.fault == "") || err != nil && (!errors.Is(err, ErrGPX) || !strings.Contains(err.Error(), c.fault)) {
			t.Errorf("%s: %v, want %q", c.name, err, c.fault)
		}
	}
}

func (w Waypoint) String() string { return "{" + w.Name + " " + geo.Position.String(w.Position) + "}" }

func FuzzWaypoints(f *testing.F) {
	f.Add(gpx(`<wpt lat="1" lon="2"><name>A</name></wpt>`))
	f.Add("<gpx><wpt")
	f.Fuzz(func(t *testing.T, text string) {
		points, _ := Waypoints(strings.NewReader(text))
		for _, w := range points {
			if w.Name == "" || !w.Valid() {
				t.Errorf("%+v", w)
			}
		}
	})
}
