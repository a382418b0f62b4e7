package due

import (
	"cmp"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"iter"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"linecamp/manifest"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// Dues are the reports of one archive or several, for one file.
type Dues []verify.DueReport

// each yields the visits of all archives, with their reports and how an archive is
// named before a visit: not at all where there is but one.
func (d Dues) each() iter.Seq2[verify.DueVisit, string] {
	return func(yield func(verify.DueVisit, string) bool) {
		for _, r := range d {
			of := ""
			if len(d) > 1 {
				of = manifest.Printable(r.Archive) + ": "
			}
			for _, v := range r.Visits {
				if v.Archive = r.Archive; !yield(v, of) {
					return
				}
			}
		}
	}
}

// Calendar writes the seasons as iCalendar (RFC 5545): an all-day event for
// each visit, whose id stays the same, so that a calendar that reads the file
// again changes its events and adds none.
func (d Dues) Calendar(now time.Time) []byte {
	var b strings.Builder
	line := func(s string) { // section 3.1: at most 75 octets, then a space on the next line
		room := 75
		for len(s) > room {
			cut := room
			for !utf8.RuneStart(s[cut]) {
				cut--
			}
			b.WriteString(s[:cut] + "\r\n ")
			s, room = s[cut:], 74
		}
		b.WriteString(s + "\r\n")
	}
	text := strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\r\n", `\n`, "\n", `\n`) // section 3.3.11
	object := d.objects()
	line("BEGIN:VCALENDAR")
	line("VERSION:2.0")
	line("PRODID:-//linecamp//due//EN")
	for v, of := range d.each() {
		closes, err := time.Parse(time.DateOnly, v.Closes)
		if err != nil {
			continue
		}
		line("BEGIN:VEVENT")
		line(fmt.Sprintf("UID:%s-%s-%s@linecamp", text.Replace(v.Archive), object(v), v.Opens))
		line("DTSTAMP:" + now.UTC().Format("20060102T150405Z"))
		line("DTSTART;VALUE=DATE:" + strings.ReplaceAll(v.Opens, "-", ""))
		line("DTEND;VALUE=DATE:" + closes.AddDate(0, 0, 1).Format("20060102")) // the day after the last
		line("SUMMARY:" + text.Replace(of+manifest.Printable(v.Label())+", photo monitoring"))
		line("DESCRIPTION:" + text.Replace(words.FieldCaution))
		if v.Position != nil {
			line(fmt.Sprintf("GEO:%f;%f", v.Position.Latitude, v.Position.Longitude))
		}
		line("TRANSP:TRANSPARENT")
		line("END:VEVENT")
	}
	line("END:VCALENDAR")
	return []byte(b.String())
}

// objects names the object of each visit. A site that no version is recorded of
// has none yet; it goes by the one that it will most likely have, and never by
// another site's.
func (d Dues) objects() func(verify.DueVisit) string {
	type site struct{ archive, pasture, site string }
	taken, made := map[[2]string]bool{}, map[site]string{}
	for v := range d.each() {
		taken[[2]string{v.Archive, v.Object}] = true
	}
	return func(v verify.DueVisit) string {
		k := site{v.Archive, v.Pasture, v.Site}
		if v.Object == "" && made[k] == "" {
			made[k] = manifest.Slug(v.Pasture, v.Site, func(s string) bool { return taken[[2]string{v.Archive, s}] })
			taken[[2]string{v.Archive, made[k]}] = true
		}
		return cmp.Or(v.Object, made[k])
	}
}

// GeoJSON writes the visits as points (RFC 7946). One without a position has no
// geometry. The caution is a foreign member (section 6.1).
func (d Dues) GeoJSON() ([]byte, error) {
	type feature struct {
		Type       string         `json:"type"`
		Geometry   any            `json:"geometry"`
		Properties map[string]any `json:"properties"`
	}
	features := []feature{}
	for v := range d.each() {
		f := feature{Type: "Feature", Properties: map[string]any{"archive": v.Archive, "site": v.Site, "pasture": v.Pasture, "state": verify.Due, "year": v.Year,
			"opens": v.Opens, "closes": v.Closes, "season_over": v.Over, "lacks": v.Lacks}}
		if v.Position != nil {
			f.Geometry = map[string]any{"type": "Point", "coordinates": []float64{v.Position.Longitude, v.Position.Latitude}}
		}
		features = append(features, f)
	}
	return json.MarshalIndent(map[string]any{"type": "FeatureCollection", "features": features, "caution": words.FieldCaution}, "", "  ")
}

// GPX writes the visits that have a position as waypoints (GPX 1.1).
func (d Dues) GPX() ([]byte, error) {
	type wpt struct {
		Lat  string `xml:"lat,attr"`
		Lon  string `xml:"lon,attr"`
		Name string `xml:"name"`
		Desc string `xml:"desc"`
	}
	var points []wpt
	for v, of := range d.each() {
		if v.Position != nil {
			points = append(points, wpt{degrees(v.Position.Latitude), meridian(v.Position.Longitude), of + v.Label(), v.When()})
		}
	}
	b, err := xml.MarshalIndent(struct {
		XMLName xml.Name `xml:"http://www.topografix.com/GPX/1/1 gpx"`
		Version string   `xml:"version,attr"`
		Creator string   `xml:"creator,attr"`
		Caution string   `xml:"metadata>desc"`
		Points  []wpt    `xml:"wpt"`
	}{Version: "1.1", Creator: "linecamp", Caution: words.FieldCaution, Points: points}, "", "  ")
	return append([]byte(xml.Header), append(b, '\n')...), err
}

func degrees(d float64) string { return strconv.FormatFloat(d, 'f', 7, 64) }

// meridian is a longitude as the schema of GPX 1.1 has it: 180 is not one of its
// numbers, and -180 is the same meridian.
func meridian(d float64) string {
	if s := degrees(d); s != "180.0000000" {
		return s
	}
	return "-180.0000000"
}
