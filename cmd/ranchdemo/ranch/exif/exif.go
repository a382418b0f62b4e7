// Package exif writes what a camera, a scanner or a program would have written
// into a picture. Begin with [With].
package exif

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"time"
)

// The writer follows CIPA DC-008 (Exif 2.32): attribute information is a TIFF
// structure inside one APP1 segment that stands right after a JPEG's SOI
// marker ("Basic structure of compressed data", "APP1"). Section numbers below
// are those of "Tags" (4.6).

// Field types of the TIFF structure (4.6.2).
const (
	typeByte      = 1
	typeASCII     = 2
	typeShort     = 3
	typeLong      = 4
	typeRational  = 5
	typeUndefined = 7
)

// field is one entry of an image file directory: its bytes are little-endian.
type field struct {
	tag, kind uint16
	count     uint32
	data      []byte
}

var le = binary.LittleEndian

// text is NUL-terminated, and the NUL counts (4.6.2).
func text(tag uint16, s string) field {
	return field{tag, typeASCII, uint32(len(s) + 1), append([]byte(s), 0)}
}

func short(tag, v uint16) field { return field{tag, typeShort, 1, le.AppendUint16(nil, v)} }

func long(tag uint16, v uint32) field { return field{tag, typeLong, 1, le.AppendUint32(nil, v)} }

func bytesOf(tag, kind uint16, b ...byte) field { return field{tag, kind, uint32(len(b)), b} }

// ratios takes numerator, denominator pairs.
func ratios(tag uint16, v ...uint32) field {
	f := field{tag, typeRational, uint32(len(v) / 2), nil}
	for _, n := range v {
		f.data = le.AppendUint32(f.data, n)
	}
	return f
}

// directory lays an IFD out at an offset of the TIFF structure: the count, the
// fields in ascending tag order, the offset of the next IFD (none), and then
// every value too long for its field's own four bytes, on word boundaries
// (4.6.2).
func directory(at int, fields []field) []byte {
	b := le.AppendUint16(nil, uint16(len(fields)))
	beyond := at + 2 + 12*len(fields) + 4
	var values []byte
	for _, f := range fields {
		b = le.AppendUint16(b, f.tag)
		b = le.AppendUint16(b, f.kind)
		b = le.AppendUint32(b, f.count)
		if len(f.data) <= 4 {
			b = append(b, f.data...)
			b = append(b, make([]byte, 4-len(f.data))...)
			continue
		}
		b = le.AppendUint32(b, uint32(beyond+len(values)))
		values = append(values, f.data...)
		if len(values)%2 == 1 {
			values = append(values, 0)
		}
	}
	b = le.AppendUint32(b, 0)
	return append(b, values...)
}

// Shot is what the camera knew when it took a picture.
type Shot struct {
	Make, Model string
	Time        time.Time // with the camera's own offset
	Lat, Lon    float64   // WGS 84, degrees
	Error       float64   // meters, horizontal
	Elevation   float64   // meters
	Bearing     int       // degrees from true north, -1 looking down
	Exposure    uint32    // one part of so many of a second
	Title       string
	Wide, Tall  int       // pixels
	Edited      time.Time // when a program saved it again; zero if none did
}

// tiff is the TIFF structure that holds it.
func (s Shot) tiff() []byte {
	const header = 8 // byte order, 42, offset of IFD0
	stamp := s.Time.Format("2006:01:02 15:04:05")
	saved := stamp
	if !s.Edited.IsZero() {
		saved = s.Edited.Format("2006:01:02 15:04:05")
	}
	offset := s.Time.Format("-07:00")
	// The pointers' values are known only once IFD0's length is; it does not
	// depend on them, so it is laid out twice.
	ifd0 := func(exif, gps uint32) []byte {
		return directory(header, []field{ // 4.6.4, TIFF attributes; 4.6.3, pointers
			text(0x010E, s.Title),                        // ImageDescription
			text(0x010F, s.Make),                         // Make
			text(0x0110, s.Model),                        // Model
			short(0x0112, 1),                             // Orientation: row 0 is the top
			ratios(0x011A, 72, 1), ratios(0x011B, 72, 1), // XResolution, YResolution
			short(0x0128, 2),    // ResolutionUnit: inches
			text(0x0132, saved), // DateTime: of the file's last change
			short(0x0213, 1),    // YCbCrPositioning: centered
			long(0x8769, exif),  // Exif IFD Pointer
			long(0x8825, gps),   // GPS Info IFD Pointer
		})
	}
	exifAt := header + len(ifd0(0, 0))
	exif := directory(exifAt, []field{ // 4.6.5, Exif IFD attributes
		ratios(0x829A, 1, s.Exposure),                                    // ExposureTime, seconds
		ratios(0x829D, 56, 10),                                           // FNumber
		short(0x8827, 100),                                               // PhotographicSensitivity
		bytesOf(0x9000, typeUndefined, '0', '2', '3', '2'),               // ExifVersion
		text(0x9003, stamp),                                              // DateTimeOriginal
		text(0x9004, stamp),                                              // DateTimeDigitized
		text(0x9010, offset), text(0x9011, offset), text(0x9012, offset), // OffsetTime, …Original, …Digitized
		bytesOf(0x9101, typeUndefined, 1, 2, 3, 0),                   // ComponentsConfiguration: Y Cb Cr
		ratios(0x920A, 62, 10),                                       // FocalLength, mm
		bytesOf(0xA000, typeUndefined, '0', '1', '0', '0'),           // FlashpixVersion
		short(0xA001, 1),                                             // ColorSpace: sRGB
		short(0xA002, uint16(s.Wide)), short(0xA003, uint16(s.Tall)), // PixelXDimension, PixelYDimension
	})
	gpsAt := exifAt + len(exif)
	ns, lat := degrees(s.Lat, "N", "S")
	ew, lon := degrees(s.Lon, "E", "W")
	utc := s.Time.UTC()
	where := []field{ // 4.6.6, GPS attributes
		bytesOf(0x00, typeByte, 2, 3, 0, 0), // GPSVersionID
		text(0x01, ns), ratios(0x02, lat[:]...),
		text(0x03, ew), ratios(0x04, lon[:]...),
		bytesOf(0x05, typeByte, 0),                                                            // GPSAltitudeRef: above sea level
		ratios(0x06, uint32(math.Round(s.Elevation*10)), 10),                                  // GPSAltitude, meters
		ratios(0x07, uint32(utc.Hour()), 1, uint32(utc.Minute()), 1, uint32(utc.Second()), 1), // GPSTimeStamp
	}
	if s.Bearing >= 0 {
		where = append(where, text(0x10, "T"), ratios(0x11, uint32(s.Bearing), 1)) // GPSImgDirectionRef, GPSImgDirection
	}
	where = append(where,
		text(0x12, "WGS-84"),                             // GPSMapDatum
		text(0x1D, utc.Format("2006:01:02")),             // GPSDateStamp
		ratios(0x1F, uint32(math.Round(s.Error*10)), 10), // GPSHPositioningError, meters
	)
	tiff := append([]byte("II"), 42, 0, header, 0, 0, 0)
	tiff = append(tiff, ifd0(uint32(exifAt), uint32(gpsAt))...)
	tiff = append(tiff, exif...)
	return append(tiff, directory(gpsAt, where)...)
}

// degrees splits a coordinate into whole degrees, whole minutes and
// thousandths of a second of arc, about three centimeters.
func degrees(v float64, plus, minus string) (ref string, dms [6]uint32) {
	ref = plus
	if v < 0 {
		ref, v = minus, -v
	}
	n := uint32(math.Round(v * 3600 * 1000))
	return ref, [6]uint32{n / 3_600_000, 1, n / 60_000 % 60, 1, n % 60_000, 1000}
}

// With gives a picture what its camera knew.
func With(jpeg []byte, s Shot) ([]byte, error) { return withSegment(jpeg, s.tiff()) }

// withSegment puts a TIFF structure where Exif wants it: in an APP1 segment right
// after SOI, marker and length included.
func withSegment(jpeg, tiff []byte) ([]byte, error) {
	if len(jpeg) < 2 || jpeg[0] != 0xFF || jpeg[1] != 0xD8 {
		return nil, errors.New("not a JPEG: it does not begin with the start-of-image marker")
	}
	body := append([]byte("Exif\x00\x00"), tiff...)
	if len(body)+2 > math.MaxUint16 {
		return nil, fmt.Errorf("the picture's details take %d bytes, more than one segment holds", len(body))
	}
	out := append([]byte{}, jpeg[:2]...)
	out = append(out, 0xFF, 0xE1)
	out = binary.BigEndian.AppendUint16(out, uint16(len(body)+2)) // JPEG counts big-endian
	out = append(out, body...)
	return append(out, jpeg[2:]...), nil
}

// WithScan is what a scanner or a program writes into a picture: when it made
// the file, and nothing of a camera.
func WithScan(jpeg []byte, when time.Time) ([]byte, error) {
	const header = 8
	stamp := when.Format("2006:01:02 15:04:05")
	ifd0 := func(exif uint32) []byte {
		return directory(header, []field{
			text(0x010F, "Longspur Optical"), // Make
			text(0x0110, "Flatbed 2"),        // Model
			text(0x0132, stamp),              // DateTime
			long(0x8769, exif),               // Exif IFD Pointer
		})
	}
	exifAt := header + len(ifd0(0))
	exif := directory(exifAt, []field{
		bytesOf(0x9000, typeUndefined, '0', '2', '3', '2'), // ExifVersion
		text(0x9003, stamp), // DateTimeOriginal
		text(0x9004, stamp), // DateTimeDigitized
	})
	tiff := append([]byte("II"), 42, 0, header, 0, 0, 0)
	tiff = append(tiff, ifd0(uint32(exifAt))...)
	return withSegment(jpeg, append(tiff, exif...))
}

// WithFileDate is what many scanners' programs write: what made the file, and when,
// but not when a picture was taken.
func WithFileDate(jpeg []byte, when time.Time) ([]byte, error) {
	tiff := append([]byte("II"), 42, 0, 8, 0, 0, 0)
	return withSegment(jpeg, append(tiff, directory(8, []field{
		text(0x010F, "Longspur Optical"),                 // Make
		text(0x0110, "Flatbed 2"),                        // Model
		text(0x0132, when.Format("2006:01:02 15:04:05")), // DateTime
	})...))
}
