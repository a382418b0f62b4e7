package facts

import (
	"errors"
	"io"
	"strings"

	"github.com/bep/imagemeta"

	"linecamp/manifest/dates"
	"linecamp/manifest/geo"
)

// Dates come from one tag only: DateTimeOriginal (0x9003), the moment the
// shutter opened, with OffsetTimeOriginal (0x9011) if the camera wrote it
// (Exif, CIPA DC-008, section 4.6.5). DateTimeDigitized is when a print was
// scanned and DateTime when a program last saved the file; neither dates a
// photo. A photo without the tag is simply undated: that is never a fault.

// A file may be anything, so what is read of it is bounded: so many bytes, so
// many reads, so many tags. A photo's tags lie near its beginning.
const (
	exifBytes = 4 << 20
	exifReads = 20_000
	exifTags  = 2_000
	exifSize  = 4 << 10
)

var errBudget = errors.New("more to read than tags can need")

// A budget lets only so much be read from a photo.
type budget struct {
	r     io.ReadSeeker
	bytes int64
	calls int
}

func (b *budget) spend(n int) error {
	b.bytes -= int64(n)
	b.calls--
	if b.bytes < 0 || b.calls < 0 {
		return errBudget
	}
	return nil
}

func (b *budget) Read(p []byte) (int, error) {
	if int64(len(p)) > b.bytes {
		p = p[:max(b.bytes, 0)]
	}
	if len(p) == 0 {
		return 0, errBudget
	}
	n, err := b.r.Read(p)
	if e := b.spend(n); e != nil {
		return n, e
	}
	return n, err
}

func (b *budget) Seek(off int64, whence int) (int64, error) {
	if err := b.spend(0); err != nil {
		return 0, err
	}
	return b.r.Seek(off, whence)
}

// wanted are the tags that are read.
var wanted = map[string]bool{
	"DateTimeOriginal": true, "OffsetTimeOriginal": true, "ExposureTime": true, "FNumber": true,
	"GPSLatitude": true, "GPSLatitudeRef": true, "GPSLongitude": true, "GPSLongitudeRef": true,
	"GPSHPositioningError": true, "GPSMapDatum": true, "GPSStatus": true,
	"Make": true, "Model": true, "Orientation": true, "ExifImageWidth": true, "ExifImageHeight": true,
}

// wantedOf passes over a tag of a part it does not belong to. A number means one
// thing in each part: 1 and 2 are "R98" and a version in the one that tells of
// interoperability (section 4.6.7), which many cameras write before their GPS
// part, and the thumbnail (IFD1) has an orientation of its own.
func wantedOf(t imagemeta.TagInfo) bool {
	return wanted[t.Tag] && strings.HasPrefix(t.Tag, "GPS") == strings.Contains(t.Namespace, "GPS") && !strings.HasPrefix(t.Namespace, "IFD1")
}

// look reads the tags of r, which stands at the file's beginning. It never
// fails: what cannot be understood tells nothing.
func look(r io.ReadSeeker, ext string) (m Facts) {
	defer func() {
		if recover() != nil {
			m = Facts{}
		}
	}()
	var head [12]byte
	n, _ := io.ReadFull(r, head[:])
	format, ok := sniff(head[:n], ext)
	if !ok {
		return Facts{}
	}
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return Facts{}
	}
	tags := map[string]any{}
	// What was read before a fault in the tags still stands, so the error
	// tells nothing that the values do not.
	_, _ = imagemeta.Decode(imagemeta.Options{
		R:               &budget{r: r, bytes: exifBytes, calls: exifReads},
		ImageFormat:     format,
		Sources:         imagemeta.EXIF,
		LimitNumTags:    exifTags,
		LimitTagSize:    exifSize,
		ShouldHandleTag: wantedOf,
		HandleTag: func(t imagemeta.TagInfo) error {
			if _, twice := tags[t.Tag]; !twice {
				tags[t.Tag] = t.Value
			}
			return nil
		},
	})
	text := func(tag string) string { s, _ := tags[tag].(string); return s }
	m.Taken = exifTime(text("DateTimeOriginal"), text("OffsetTimeOriginal"))
	m.Exposed = tags["ExposureTime"] != nil || tags["FNumber"] != nil
	m.At = fix(tags)
	m.Camera = camera(text("Make"), text("Model"))
	if n := whole(tags["Orientation"]); n >= 1 && n <= 8 {
		m.Turn = uint8(n)
	}
	m.Width, m.Height = whole(tags["ExifImageWidth"]), whole(tags["ExifImageHeight"])
	if m.Width == 0 || m.Height == 0 {
		m.Width, m.Height = 0, 0
	}
	return m
}

// Upright is where the point x, y of a picture of w by h comes to lie when the picture
// is turned as its Exif orientation says (CIPA DC-008, 4.6.5, Orientation).
func Upright(x, y, w, h, orientation int) (int, int) {
	switch orientation {
	case 2:
		return w - 1 - x, y
	case 3:
		return w - 1 - x, h - 1 - y
	case 4:
		return x, h - 1 - y
	case 5:
		return y, x
	case 6:
		return h - 1 - y, x
	case 7:
		return h - 1 - y, w - 1 - x
	case 8:
		return y, w - 1 - x
	}
	return x, y
}

// Turn is how a picture is to be turned to stand upright (Facts.Turn), for one that
// no tally read. ext is that of its name, with the dot.
func Turn(r io.ReadSeeker, ext string) int {
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return 0
	}
	return int(look(r, strings.ToLower(ext)).Turn)
}

// whole is a tag's whole number, 0 where it is none.
func whole(v any) uint32 {
	switch n := v.(type) {
	case uint16:
		return uint32(n)
	case uint32:
		return n
	}
	return 0
}

// camera names a camera by its make and model; many models begin with the make.
func camera(brand, model string) string {
	brand, model = strings.TrimSpace(strings.Trim(brand, "\x00")), strings.TrimSpace(strings.Trim(model, "\x00"))
	name := strings.TrimSpace(brand + " " + model)
	if brand != "" && strings.HasPrefix(strings.ToLower(model), strings.ToLower(brand)) {
		name = model
	}
	if len(name) > 128 {
		return ""
	}
	return one(strings.ToValidUTF8(name, "\uFFFD"))
}

// fix makes a position of the tags (section 4.6.6 of the same standard). Where
// they are of another datum than GPS's own, a receiver's position may be off by
// hundreds of meters, so it tells nothing; NAD 83 is within two meters of it. A
// receiver without a position says so ("V"), or writes zeros.
func fix(tags map[string]any) *geo.Fix {
	text := func(tag string) string {
		s, _ := tags[tag].(string)
		return strings.ToUpper(strings.Trim(s, " \x00"))
	}
	lat, latOK := tags["GPSLatitude"].(float64)
	long, longOK := tags["GPSLongitude"].(float64)
	north, east := text("GPSLatitudeRef"), text("GPSLongitudeRef")
	datum := strings.NewReplacer(" ", "", "-", "", "_", "").Replace(text("GPSMapDatum"))
	switch {
	case !latOK || !longOK, text("GPSStatus") == "V",
		north != "N" && north != "S", east != "E" && east != "W",
		datum != "" && datum != "WGS84" && datum != "NAD83":
		return nil
	}
	if north == "S" {
		lat = -lat
	}
	if east == "W" {
		long = -long
	}
	f := &geo.Fix{Position: geo.Position{Latitude: lat, Longitude: long}}
	if !f.Told() {
		return nil
	}
	if e, ok := tags["GPSHPositioningError"].(imagemeta.Rat[uint32]); ok && e.Den() != 0 {
		f.Error = e.Float64()
	}
	return f
}

// sniff tells the format by a file's first bytes: phones are known to name
// HEIC files .jpg. Raw formats that are TIFF inside are told by extension.
func sniff(head []byte, ext string) (imagemeta.ImageFormat, bool) {
	at := func(i int, s string) bool { return len(head) >= i+len(s) && string(head[i:i+len(s)]) == s }
	switch {
	case at(0, "\xff\xd8"):
		return imagemeta.JPEG, true
	case at(0, "\x89PNG"):
		return imagemeta.PNG, true
	case at(4, "ftyp") && !at(8, "crx "):
		return imagemeta.HEIF, true
	case at(0, "II*\x00"), at(0, "MM\x00*"):
		switch ext {
		case "dng":
			return imagemeta.DNG, true
		case "cr2":
			return imagemeta.CR2, true
		case "nef", "nrw":
			return imagemeta.NEF, true
		case "arw", "sr2", "srf":
			return imagemeta.ARW, true
		case "pef":
			return imagemeta.PEF, true
		}
		return imagemeta.TIFF, true
	}
	return 0, false
}

// exifTime turns "2019:06:21 10:11:12" into "2019-06-21T10:11:12" and puts an
// offset behind it. Anything but a real date and time is "": cameras whose
// clock was never set write zeros or blanks.
func exifTime(date, offset string) string {
	// The tag is 20 bytes, the last one NUL; some programs pad or cut it.
	for len(date) > 19 && (date[len(date)-1] == 0 || date[len(date)-1] == ' ') {
		date = date[:len(date)-1]
	}
	if !shaped(date, "0000:00:00 00:00:00") {
		return ""
	}
	y, m, d := dates.Number(date[:4]), dates.Number(date[5:7]), dates.Number(date[8:10])
	if y == 0 || !dates.IsDay(y, m, d) || dates.Number(date[11:13]) > 23 || dates.Number(date[14:16]) > 59 || dates.Number(date[17:19]) > 60 {
		return ""
	}
	t := dates.Format(y, m, d) + "T" + date[11:19]
	if len(offset) > 6 && offset[6] == 0 {
		offset = offset[:6]
	}
	if len(offset) == 6 && (offset[0] == '+' || offset[0] == '-') && shaped(offset[1:], "00:00") && offset[1:3] <= "14" && offset[4:6] <= "59" {
		t += offset
	}
	return t
}

// shaped reports whether s has a digit for every 0 of the shape, and its other
// characters where they stand.
func shaped(s, shape string) bool {
	if len(s) != len(shape) {
		return false
	}
	for i := range len(s) {
		if shape[i] == '0' {
			if s[i] < '0' || s[i] > '9' {
				return false
			}
		} else if s[i] != shape[i] {
			return false
		}
	}
	return true
}
