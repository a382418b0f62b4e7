package intake

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/bep/imagemeta"

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
	orient  int          // Exif orientation, 1 to 8
	look    string       // what package sky says
	thumb   []byte       // JPEG, for the sheet
	with    []tally.File // companions
}

// spot is a place on the earth, WGS 84.
type spot struct {
	lat, lon float64 // degrees
	within   float64 // stated error, metres
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

// A file may be anything, so no more than this is read of it for its tags.
const tagBytes = 4 << 20

// tags reads position and orientation of a picture. What cannot be understood
// tells nothing.
func tags(path string) (at spot, orientation int) {
	orientation = 1
	defer func() {
		if recover() != nil {
			at, orientation = spot{}, 1
		}
	}()
	f, err := os.OpenFile(path, openFlags, 0)
	if err != nil {
		return
	}
	defer f.Close()
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
		return
	}
	var head [12]byte
	n, _ := io.ReadFull(f, head[:])
	format, ok := formatOf(string(head[:n]), path)
	if !ok {
		return
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return
	}
	var t imagemeta.Tags
	var within float64
	wanted := map[string]bool{"Orientation": true, "GPSLatitude": true, "GPSLatitudeRef": true, "GPSLongitude": true, "GPSLongitudeRef": true, "GPSHPositioningError": true}
	_, _ = imagemeta.Decode(imagemeta.Options{
		R: io.NewSectionReader(f, 0, tagBytes), ImageFormat: format, Sources: imagemeta.EXIF,
		LimitNumTags: 2000, LimitTagSize: 4 << 10,
		ShouldHandleTag: func(i imagemeta.TagInfo) bool { return wanted[i.Tag] },
		HandleTag: func(i imagemeta.TagInfo) error {
			switch i.Tag {
			case "Orientation":
				if v := int(number(i.Value)); v >= 1 && v <= 8 && strings.HasPrefix(i.Namespace, "IFD0") {
					orientation = v
				}
			case "GPSHPositioningError":
				within = number(i.Value)
			default:
				t.Add(i)
			}
			return nil
		},
	})
	exif := t.EXIF()
	_, hasLat := exif["GPSLatitude"]
	_, hasLon := exif["GPSLongitude"]
	if !hasLat || !hasLon {
		return
	}
	lat, lon, err := t.GetLatLong()
	// A receiver without a fix writes zeros: there is no ranch in the Gulf of
	// Guinea.
	if err != nil || !(lat >= -90 && lat <= 90 && lon >= -180 && lon <= 180) || lat == 0 && lon == 0 {
		return
	}
	if !(within > 0 && within < 100_000) {
		within = 0
	}
	return spot{lat, lon, within, true}, orientation
}

func number(v any) float64 {
	switch x := v.(type) {
	case uint16:
		return float64(x)
	case uint32:
		return float64(x)
	case int:
		return float64(x)
	case float64:
		return x
	case interface{ Float64() float64 }:
		return x.Float64()
	}
	return 0
}

// formatOf tells a picture's format by its first bytes; raw formats that are
// TIFF inside by extension.
func formatOf(head, path string) (imagemeta.ImageFormat, bool) {
	switch {
	case strings.HasPrefix(head, "\xff\xd8"):
		return imagemeta.JPEG, true
	case strings.HasPrefix(head, "\x89PNG"):
		return imagemeta.PNG, true
	case len(head) >= 8 && head[4:8] == "ftyp":
		return imagemeta.HEIF, true
	case strings.HasPrefix(head, "II*\x00"), strings.HasPrefix(head, "MM\x00*"):
		switch strings.ToLower(filepath.Ext(path)) {
		case ".dng":
			return imagemeta.DNG, true
		case ".cr2":
			return imagemeta.CR2, true
		case ".nef", ".nrw":
			return imagemeta.NEF, true
		case ".arw":
			return imagemeta.ARW, true
		case ".pef":
			return imagemeta.PEF, true
		}
		return imagemeta.TIFF, true
	}
	return 0, false
}
