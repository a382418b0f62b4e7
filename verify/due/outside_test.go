package due

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	ics "github.com/arran4/golang-ical"

	"linecamp/manifest/geo"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// hostile are visits of sites with names that try to break what they are
// written into, at places that do.
func hostile() verify.DueReport {
	r := verify.DueReport{Archive: "saltbush-draw"}
	for i, name := range []string{
		"Stake 3", `Stake 4, "far"; back\slash`, "two\r\nlines\nand\ta tab", "\U0001F404\U0001F335 Ümlaut — stake", strings.Repeat("ä", 300),
		strings.Repeat("\U0001F335", 120), "x\r\nEND:VEVENT\r\nBEGIN:VEVENT\r\nSUMMARY:another", `ends with \`, "bad \xff\xfe bytes", "</name><wpt lat=\"1\" lon=\"2\">&", "stake 3", "",
	} {
		at := []geo.Position{{Latitude: 41.5, Longitude: -106.25}, {Latitude: -89.99999, Longitude: 180}, {Latitude: 90, Longitude: -180}, {Latitude: 0.0000001, Longitude: 179.99999999}}[i%4]
		v := verify.DueVisit{Site: name, Pasture: "North, Flat", Year: 2026, Opens: "2026-06-10", Closes: "2026-07-10", Lacks: []string{}, Position: &at}
		if i == 0 {
			v.Object, v.Opens = "north-flat--stake-3", "2025-12-20"
			v.Closes = "2026-12-31" // and the day after is in another year
		}
		if i == 1 {
			v.Position = nil
		}
		r.Visits = append(r.Visits, v)
	}
	return r
}

// TestCalendarReadBack reads the calendar with a parser that is not ours
// (github.com/arran4/golang-ical), and holds it to the letter of RFC 5545.
func TestCalendarReadBack(t *testing.T) {
	r := hostile()
	now := time.Date(2026, 5, 1, 23, 59, 59, 0, time.FixedZone("", -7*3600))
	raw := Dues{r}.Calendar(now)
	// Section 3.1: lines end in CRLF and have 75 octets at most, and no line is
	// folded inside a letter, though the RFC would allow it.
	if !bytes.HasSuffix(raw, []byte("END:VCALENDAR\r\n")) {
		t.Errorf("it ends in %q", raw[max(0, len(raw)-20):])
	}
	for line := range bytes.SplitSeq(bytes.TrimSuffix(raw, []byte("\r\n")), []byte("\r\n")) {
		if len(line) > 75 || len(line) == 0 || !utf8.Valid(line) || bytes.ContainsFunc(line, func(c rune) bool { return c < ' ' || c == 0x7f }) {
			t.Errorf("line of %d octets: %q", len(line), line)
		}
	}
	c, err := ics.ParseCalendar(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	events := c.Events()
	if len(events) != len(r.Visits) {
		t.Fatalf("%d events of %d visits", len(events), len(r.Visits))
	}
	ids := map[string]bool{}
	for i, e := range events {
		v := r.Visits[i]
		if id := e.Id(); id == "" || ids[id] { // section 3.8.4.7: globally unique
			t.Errorf("the id %q is used twice", id)
		} else {
			ids[id] = true
		}
		if got, want := e.GetProperty(ics.ComponentPropertySummary).Value, verify.Shown(v.Label())+", photo monitoring"; got != want {
			t.Errorf("summary %q, want %q", got, want)
		}
		if got := e.GetProperty(ics.ComponentPropertyDescription).Value; got != words.FieldCaution {
			t.Errorf("description %q", got)
		}
		// Section 3.6.1: a DTSTART of a whole day, and a DTEND that is not one of
		// its days; both say that they are dates (section 3.3.4).
		for _, p := range []ics.ComponentProperty{ics.ComponentPropertyDtStart, ics.ComponentPropertyDtEnd} {
			if kind := e.GetProperty(p).ICalParameters["VALUE"]; !slices.Equal(kind, []string{"DATE"}) {
				t.Errorf("%s is a %v", p, kind)
			}
		}
		opens, err1 := e.GetAllDayStartAt()
		end, err2 := e.GetAllDayEndAt()
		stamp, err3 := e.GetDtStampTime()
		if err1 != nil || err2 != nil || err3 != nil || opens.Format(time.DateOnly) != v.Opens || end.AddDate(0, 0, -1).Format(time.DateOnly) != v.Closes || !stamp.Equal(now) {
			t.Errorf("from %v to %v, as of %v; %v %v %v", opens, end, stamp, err1, err2, err3)
		}
		// Section 3.8.1.6: latitude first.
		if g := e.GetProperty(ics.ComponentPropertyGeo); (g == nil) != (v.Position == nil) || i == 0 && g.Value != "41.500000;-106.250000" {
			t.Errorf("position %v of %v", g, v.Position)
		}
	}
	if again, err := ics.ParseCalendar(bytes.NewReader(Dues{verify.DueReport{}}.Calendar(now))); err != nil || len(again.Events()) != 0 {
		t.Errorf("of no visit: %v, %v", again, err)
	}
}

// TestGeoJSONReadBack reads the points with a program that is not ours, gpsbabel.
// RFC 7946: longitude before latitude (section 3.1.1), and null for a feature
// without a place (section 3.2).
func TestGeoJSONReadBack(t *testing.T) {
	r := hostile()
	raw, err := Dues{r}.GeoJSON()
	if err != nil {
		t.Fatal(err)
	}
	samePlaces(t, r, babel(t, "geojson", raw))
}

// babel reads points with gpsbabel (Debian's gpsbabel).
func babel(t *testing.T, form string, raw []byte) (points []map[string]string) {
	t.Helper()
	tool, err := exec.LookPath("gpsbabel")
	if err != nil {
		t.Skip("gpsbabel is not installed, so the points are read by no other program")
	}
	in := filepath.Join(t.TempDir(), "due")
	if err := os.WriteFile(in, raw, 0o666); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(tool, "-i", form, "-f", in, "-o", "unicsv,utc=0,prec=9", "-F", "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(out)).ReadAll()
	if err != nil || len(rows) == 0 {
		t.Fatalf("gpsbabel made of it %s, %v", out, err)
	}
	for _, row := range rows[1:] {
		p := map[string]string{}
		for i, title := range rows[0] {
			p[title] = row[i]
		}
		points = append(points, p)
	}
	return points
}

// samePlaces holds points to the visits that have a position.
func samePlaces(t *testing.T, r verify.DueReport, points []map[string]string) {
	t.Helper()
	i := 0
	for _, v := range r.Visits {
		if v.Position == nil {
			continue
		}
		if i == len(points) {
			t.Fatalf("only %d points", i)
		}
		lat, err1 := strconv.ParseFloat(points[i]["Latitude"], 64)
		long, err2 := strconv.ParseFloat(points[i]["Longitude"], 64)
		if err1 != nil || err2 != nil || math.Abs(lat-v.Position.Latitude) > 1e-7 || math.Abs(math.Remainder(long-v.Position.Longitude, 360)) > 1e-7 {
			t.Errorf("%q at %v, want %v", v.Site, points[i], *v.Position)
		}
		i++
	}
	if i != len(points) {
		t.Errorf("%d points, want %d", len(points), i)
	}
}

// TestGPXReadBack reads the waypoints with a program that is not ours, gpsbabel
// (Debian's gpsbabel), and holds them to the schema of GPX 1.1
// (topografix.com/GPX/1/1/gpx.xsd): latitudeType from -90 to 90, longitudeType
// from -180 to below 180, and a wptType's name before its desc.
func TestGPXReadBack(t *testing.T) {
	r := hostile()
	raw, err := Dues{r}.GPX()
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		XMLName xml.Name `xml:"http://www.topografix.com/GPX/1/1 gpx"`
		Version string   `xml:"version,attr"`
		Creator string   `xml:"creator,attr"`
		Points  []struct {
			Lat   float64                      `xml:"lat,attr"`
			Lon   float64                      `xml:"lon,attr"`
			Parts []struct{ XMLName xml.Name } `xml:",any"`
		} `xml:"wpt"`
	}
	if err := xml.Unmarshal(raw, &doc); err != nil || doc.Version != "1.1" || doc.Creator == "" || len(doc.Points) != len(r.Visits)-1 {
		t.Fatalf("%+v, %v", doc, err)
	}
	for _, p := range doc.Points {
		if !(p.Lat >= -90 && p.Lat <= 90 && p.Lon >= -180 && p.Lon < 180) || len(p.Parts) != 2 || p.Parts[0].XMLName.Local != "name" || p.Parts[1].XMLName.Local != "desc" {
			t.Errorf("%+v", p)
		}
	}

	points := babel(t, "gpx", raw)
	samePlaces(t, r, points)
	if len(points) > 0 && points[0]["Name"] != "North, Flat / Stake 3" {
		t.Errorf("%q", points[0])
	}
}
