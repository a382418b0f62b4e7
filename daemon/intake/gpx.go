package intake

import (
	"encoding/xml"
	"errors"
	"io"
	"slices"
	"sort"
	"strings"
	"time"

	"linecamp/manifest/geo"
	"linecamp/manifest/store/fault"
)

// Track is where a GPS receiver was, by time.
type Track struct{ points []trackPoint }

type trackPoint struct {
	when time.Time
	at   spot
}

// longestHole is how far apart in time two points may be for a place between
// them to be told.
const longestHole = 5 * time.Minute

// ReadTrack reads the track points with a time of a GPX 1.1 file (wpt and rte
// have no use here; names are not needed). The error wraps ErrTrack.
func ReadTrack(r io.Reader) (*Track, error) {
	t := &Track{}
	d := xml.NewDecoder(io.LimitReader(r, 256<<20))
	d.Strict = true
	gpx := false
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fault.Say(ErrTrack, "it is not a GPX file (%v)", err)
		}
		start, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		if !gpx {
			if start.Name.Local != "gpx" {
				return nil, fault.Say(ErrTrack, "it is not a GPX file, it begins with <%s>", start.Name.Local)
			}
			gpx = true
			continue
		}
		if start.Name.Local != "trkpt" {
			continue
		}
		var p struct {
			Lat  *float64 `xml:"lat,attr"`
			Lon  *float64 `xml:"lon,attr"`
			Time string   `xml:"time"`
		}
		if err := d.DecodeElement(&p, &start); err != nil {
			return nil, fault.Say(ErrTrack, "a track point in it cannot be read (%v)", err)
		}
		when, err := time.Parse(time.RFC3339, strings.TrimSpace(p.Time))
		if err != nil || p.Lat == nil || p.Lon == nil || !(geo.Position{Latitude: *p.Lat, Longitude: *p.Lon}).Told() {
			continue // a point without a time or a place tells nothing here
		}
		t.points = append(t.points, trackPoint{when, spot{lat: *p.Lat, lon: *p.Lon, known: true}})
	}
	if !gpx {
		return nil, fault.Say(ErrTrack, "it is not a GPX file")
	}
	if len(t.points) == 0 {
		return nil, fault.Say(ErrTrack, "no track point in it has a time, so it does not tell where anyone was when; record a track, not only waypoints")
	}
	slices.SortStableFunc(t.points, func(a, b trackPoint) int { return a.when.Compare(b.when) })
	return t, nil
}

// at is where the receiver was at a moment: between two points in proportion
// to time, where they are close enough in time.
func (t *Track) at(when time.Time) spot {
	if t == nil || when.IsZero() {
		return spot{}
	}
	i := sort.Search(len(t.points), func(i int) bool { return !t.points[i].when.Before(when) })
	if i < len(t.points) && t.points[i].when.Equal(when) {
		return t.points[i].at
	}
	if i == 0 || i == len(t.points) {
		return spot{}
	}
	a, b := t.points[i-1], t.points[i]
	span := b.when.Sub(a.when)
	if span > longestHole && meters(a.at, b.at) > defaultNear {
		return spot{} // it may have been anywhere between; a receiver at rest writes little
	}
	k := float64(when.Sub(a.when)) / float64(span)
	dlon := b.at.lon - a.at.lon
	if dlon > 180 {
		dlon -= 360
	} else if dlon < -180 {
		dlon += 360
	}
	lon := a.at.lon + k*dlon
	if lon > 180 {
		lon -= 360
	} else if lon < -180 {
		lon += 360
	}
	return spot{lat: a.at.lat + k*(b.at.lat-a.at.lat), lon: lon, known: true}
}
