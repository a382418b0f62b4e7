package card

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"linecamp/manifest/geo"
	"linecamp/manifest/names"
)

// Waypoint is a named point of a GPX file.
type Waypoint struct {
	Name string
	geo.Position
}

// A GPX file may be a season's track of the truck; what is read of it is
// bounded all the same.
const (
	mostGPX       = 64 << 20
	mostWaypoints = 50_000
	mostDepth     = 100
	mostName      = 1000
)

// ErrGPX marks what cannot be read as GPX.
var ErrGPX = errors.New("this is not a GPX file that can be read")

// Waypoints reads the named waypoints (wpt) of a GPX 1.1 file, in their order.
// Tracks and routes are passed over; so is a waypoint without a name, or whose
// latitude and longitude tell no place. Those read before a fault are returned with
// it. Errors wrap [ErrGPX], or are the reader's.
func Waypoints(r io.Reader) ([]Waypoint, error) {
	limited := &io.LimitedReader{R: r, N: mostGPX}
	d := xml.NewDecoder(limited)
	var out []Waypoint
	var at *Waypoint // the waypoint we are in
	var path []string
	for {
		token, err := d.Token()
		switch {
		case err == io.EOF && limited.N > 0 && path == nil:
			return out, fmt.Errorf("%w: it is empty", ErrGPX)
		case err == io.EOF:
			return out, nil
		case limited.N <= 0:
			return out, fmt.Errorf("%w: it is larger than %d MB", ErrGPX, mostGPX>>20)
		case err != nil:
			var syntax *xml.SyntaxError
			if errors.As(err, &syntax) {
				return out, fmt.Errorf("%w: line %d: %s", ErrGPX, syntax.Line, syntax.Msg)
			}
			return out, fmt.Errorf("%w: %w", ErrGPX, err)
		}
		switch t := token.(type) {
		case xml.StartElement:
			if path == nil && t.Name.Local != "gpx" {
				return nil, fmt.Errorf("%w: it begins with <%s>", ErrGPX, names.Clip(t.Name.Local))
			}
			if path = append(path, t.Name.Local); len(path) > mostDepth {
				return out, fmt.Errorf("%w: it is nested too deep", ErrGPX)
			}
			if len(path) == 2 && t.Name.Local == "wpt" {
				at = waypoint(t)
			}
		case xml.EndElement:
			if len(path) == 2 && at != nil {
				if at.Name = strings.TrimSpace(at.Name); at.Name != "" && at.Told() {
					out = append(out, *at)
				}
				at = nil
				if len(out) > mostWaypoints {
					return out, fmt.Errorf("%w: it has more than %d waypoints", ErrGPX, mostWaypoints)
				}
			}
			path = path[:len(path)-1]
		case xml.CharData:
			if at != nil && len(path) == 3 && path[2] == "name" && len(at.Name)+len(t) <= mostName {
				at.Name += string(t)
			}
		}
	}
}

// waypoint begins one, or returns nil where it has no place.
func waypoint(t xml.StartElement) *Waypoint {
	var w Waypoint
	seen := 0
	for _, a := range t.Attr {
		n, err := strconv.ParseFloat(strings.TrimSpace(a.Value), 64)
		if err != nil {
			continue
		}
		switch a.Name.Local {
		case "lat":
			w.Latitude = n
			seen |= 1
		case "lon":
			w.Longitude = n
			seen |= 2
		}
	}
	if seen != 3 {
		return nil
	}
	return &w
}
