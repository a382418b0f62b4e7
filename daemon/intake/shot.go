package intake

import (
	"time"

	"linecamp/manifest/geo"
	"linecamp/manifest/tally"
)

// A shot is one picture on the card, with what the camera wrote about it.
type shot struct {
	tally.File
	wall    time.Time // the camera's clock, corrected, read as if it were UTC; zero if there is none
	instant time.Time // the moment itself; zero if only a day is known
	day     string    // 2019-06-21; "" if nothing tells
	at      spot
	by      string       // what told at: ByPosition or ByTrack
	look    string       // what package sky says
	thumb   []byte       // JPEG, for the sheet
	with    []tally.File // companions
}

// spot is a place on the earth, WGS 84.
type spot struct {
	lat, lon float64 // degrees
	within   float64 // stated error, meters
	known    bool
}

// clock reads when a picture was taken. A camera that writes no offset is taken
// to have kept the zone's local time.
func (s *shot) clock(o *Options) {
	const form = "2006-01-02T15:04:05"
	if len(s.Taken) < len(form) {
		if len(s.Visit) == len(time.DateOnly) { // a day in its name
			s.day = s.Visit
		}
		return
	}
	wall, err := time.Parse(form, s.Taken[:len(form)])
	if err != nil {
		return
	}
	s.wall = wall.Add(o.Clock)
	s.day = s.wall.Format(time.DateOnly)
	zone := o.Zone
	if zone == nil {
		zone = time.Local
	}
	s.instant, err = time.Parse(time.RFC3339, s.Taken)
	if err != nil {
		s.instant, _ = time.ParseInLocation(form, s.Taken[:len(form)], zone)
	}
	s.instant = s.instant.Add(o.Clock)
}

// spotOf is the place of a fix that a camera wrote.
func spotOf(f *geo.Fix) spot {
	if f == nil {
		return spot{}
	}
	return spot{f.Latitude, f.Longitude, f.Error, true}
}
