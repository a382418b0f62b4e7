package facts

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linecamp/manifest/names"
)

// exiftool is the independent reader; .ci/run installs it and lets nothing be
// skipped for the want of it.
func exiftool(t *testing.T) string {
	t.Helper()
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		t.Skip("exiftool is not installed, so nothing is compared with it")
	}
	return tool
}

// TestExifAgainstExiftool compares dates with an independent reader, exiftool
// (Debian's libimage-exiftool-perl), on files written here byte by byte.
func TestExifAgainstExiftool(t *testing.T) {
	tool := exiftool(t)
	const date = "2019:06:21 10:11:12"
	full, bare := exifBlock(date, "-06:00"), exifBlock(date, "")
	files := map[string][]byte{
		"a.jpg": jpegWith(full), "b.jpg": jpegWith(bare), "none.jpg": jpegWith(exifBlock("", "")),
		"c.png": pngWith(full), "d.tif": full, "e.dng": bare, "f.nef": full, "g.arw": bare, "h.cr2": full,
		"i.pef": full, "j.heic": heicWith(full), "named-wrongly.jpg": heicWith(bare), "leap.jpg": jpegWith(exifBlock("2020:02:29 23:59:59", "+05:30")),
		"plain.jpg": {0xff, 0xd8, 0xff, 0xd9}, "is-jpeg.png": jpegWith(full),
	}
	root := t.TempDir()
	for name, b := range files {
		if err := os.WriteFile(filepath.Join(root, name), b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	// -DateTimeOriginal is the tag itself; -G would name its group.
	out, err := exec.Command(tool, "-json", "-EXIF:DateTimeOriginal", "-EXIF:OffsetTimeOriginal", root).Output()
	if err != nil {
		t.Fatalf("exiftool: %v", err)
	}
	var theirs []struct{ SourceFile, DateTimeOriginal, OffsetTimeOriginal string }
	if err := json.Unmarshal(out, &theirs); err != nil {
		t.Fatal(err)
	}
	want := map[string]string{}
	for _, f := range theirs {
		w := ""
		if f.DateTimeOriginal != "" {
			d, err := time.Parse("2006:01:02 15:04:05", f.DateTimeOriginal)
			if err != nil {
				t.Fatal(err)
			}
			w = d.Format("2006-01-02T15:04:05") + f.OffsetTimeOriginal
		}
		want[f.SourceFile[len(root)+1:]] = w
	}
	dated := 0
	for name, b := range files {
		w, ok := want[name]
		if !ok {
			t.Errorf("exiftool did not read %s", name)
			continue
		}
		if got := taken0(b, names.Extension(name)); got != w {
			t.Errorf("%s: taken %q, exiftool says %q", name, got, w)
		}
		if w != "" {
			dated++
		}
	}
	if dated < 12 {
		t.Errorf("exiftool dated only %d of the files, so little was compared", dated)
	}
}

func TestExifTime(t *testing.T) {
	for _, c := range []struct{ date, offset, want string }{
		{"2019:06:21 10:11:12", "", "2019-06-21T10:11:12"},
		{"2019:06:21 10:11:12", "-06:00", "2019-06-21T10:11:12-06:00"},
		{"2019:06:21 10:11:12\x00", "-06:00\x00", "2019-06-21T10:11:12-06:00"},
		{"2019:06:21 10:11:12", "nonsense", "2019-06-21T10:11:12"},
		{"2019:06:21 10:11:12", "+15:00", "2019-06-21T10:11:12"},
		{"0000:00:00 00:00:00", "", ""},
		{"    :  :     :  :  ", "", ""},
		{"2019:02:29 10:11:12", "", ""},
		{"2019:13:01 10:11:12", "", ""},
		{"2019:06:21 24:00:00", "", ""},
		{"2019-06-21 10:11:12", "", ""},
		{"2019:06:21", "", ""},
		{"", "-06:00", ""},
	} {
		if got := exifTime(c.date, c.offset); got != c.want {
			t.Errorf("exifTime(%q, %q) = %q, want %q", c.date, c.offset, got, c.want)
		}
	}
}

// TestExifOnlyOriginal: the blocks carry a digitised and a modified time too,
// and neither dates a photo.
func TestExifOnlyOriginal(t *testing.T) {
	if got := taken0(jpegWith(exifBlock("", "-06:00")), "jpg"); got != "" {
		t.Errorf("taken %q from a photo without an original time", got)
	}
}

// TestExifCut: a photo cut short at any byte is undated or dated rightly, and
// nothing else happens.
func TestExifCut(t *testing.T) {
	whole := jpegWith(exifBlock("2019:06:21 10:11:12", "-06:00"))
	for n := range whole {
		switch got := taken0(whole[:n], "jpg"); got {
		case "", "2019-06-21T10:11:12", "2019-06-21T10:11:12-06:00":
		default:
			t.Errorf("cut at %d: taken %q", n, got)
		}
	}
}

// endless is a file of one byte without end: reading must stop by itself.
type endless struct{ at, reads int64 }

func (e *endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 0xff
	}
	copy(p, "\xff\xd8")
	e.reads += int64(len(p))
	return len(p), nil
}

func (e *endless) Seek(off int64, whence int) (int64, error) {
	if whence == 1 {
		off += e.at
	}
	e.at = off
	return off, nil
}

func TestExifBudget(t *testing.T) {
	e := &endless{}
	look(e, "jpg")
	if e.reads > 2*exifBytes {
		t.Errorf("%d bytes were read of an endless file", e.reads)
	}
}

func FuzzTaken(f *testing.F) {
	block := exifBlock("2019:06:21 10:11:12", "-06:00")
	for _, b := range [][]byte{jpegWith(block), pngWith(block), block, []byte("\x00\x00\x00\x18ftypheic"), nil} {
		for _, ext := range []string{"jpg", "tif", "nef", "cr2", "heic"} {
			f.Add(b, ext)
		}
	}
	f.Fuzz(func(t *testing.T, b []byte, ext string) {
		got := look(bytes.NewReader(b), ext).Taken
		if got == "" {
			return
		}
		form := "2006-01-02T15:04:05"
		if len(got) == 25 {
			form += "-07:00"
		}
		if len(got) != 19 && len(got) != 25 {
			t.Fatalf("taken %q", got)
		}
		if got[17:19] == "60" { // a leap second is a time too
			got = got[:17] + "59" + got[19:]
		}
		if _, err := time.Parse(form, got); err != nil {
			t.Fatal(err)
		}
	})
}

// gps is a block with an Exif and a GPS part; the numbers are degrees, minutes
// and seconds as a receiver writes them.
func gps(lat, long [3]uint32, north, east string, more ...tag) []byte {
	le := binary.LittleEndian
	rationals := func(n ...uint32) (b []byte) {
		for _, v := range n {
			b = le.AppendUint32(le.AppendUint32(b, v), 1)
		}
		return b
	}
	ifd0 := []tag{{0x8769, 4, 1, nil}, {0x8825, 4, 1, nil}}
	exif := []tag{{0x829a, 5, 1, append(le.AppendUint32(nil, 1), le.AppendUint32(nil, 250)...)}, {0x9003, 2, 20, text0("2019:06:21 10:11:12")}}
	exifAt := uint32(8 + 2 + 12*len(ifd0) + 4)
	gpsAt := exifAt + uint32(2+12*len(exif)+4+8+20)
	ifd0[0].value, ifd0[1].value = le.AppendUint32(nil, exifAt), le.AppendUint32(nil, gpsAt)
	b := append([]byte("II*\x00"), 8, 0, 0, 0)
	b = appendIFD(appendIFD(b, ifd0), exif)
	tags := append([]tag{{1, 2, 2, text0(north)}, {2, 5, 3, rationals(lat[:]...)}, {3, 2, 2, text0(east)}, {4, 5, 3, rationals(long[:]...)}}, more...)
	return jpegWith(appendIFD(b, tags))
}

func TestExifPosition(t *testing.T) {
	lat, long := [3]uint32{41, 30, 36}, [3]uint32{106, 15, 0}
	rational := func(n, d uint32) []byte {
		return binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(nil, n), d)
	}
	for _, c := range []struct {
		name string
		b    []byte
		want string
	}{
		{"north west", gps(lat, long, "N", "W"), "41.51000, -106.25000 within 0"},
		{"south east", gps(lat, long, "S", "E"), "-41.51000, 106.25000 within 0"},
		{"its error", gps(lat, long, "N", "W", tag{0x1f, 5, 1, rational(25, 2)}), "41.51000, -106.25000 within 12.5"},
		{"no error can be over nothing", gps(lat, long, "N", "W", tag{0x1f, 5, 1, rational(25, 0)}), "41.51000, -106.25000 within 0"},
		{"datum", gps(lat, long, "N", "W", tag{0x12, 2, 7, text0("WGS-84")}), "41.51000, -106.25000 within 0"},
		{"another datum", gps(lat, long, "N", "W", tag{0x12, 2, 6, text0("NAD27")}), ""},
		{"void", gps(lat, long, "N", "W", tag{0x9, 2, 2, text0("V")}), ""},
		{"zeros", gps([3]uint32{}, [3]uint32{}, "N", "W"), ""},
		{"no place on earth", gps([3]uint32{91, 0, 0}, long, "N", "W"), ""},
		{"no side", gps(lat, long, "", "W"), ""},
		{"none", jpegWith(exifBlock("2019:06:21 10:11:12", "")), ""},
	} {
		m := look(bytes.NewReader(c.b), "jpg")
		got := ""
		if m.At != nil {
			got = fmt.Sprintf("%v within %g", m.At.Position, m.At.Error)
		}
		if got != c.want || m.Taken != "2019-06-21T10:11:12" || m.Exposed != (c.name != "none") {
			t.Errorf("%s: %q, want %q; taken %q, exposed %v", c.name, got, c.want, m.Taken, m.Exposed)
		}
	}
}

// Many cameras write the part on interoperability before that on the position,
// and its first two tags have the numbers of the latitude and its side.
func TestExifPositionBehindInteroperability(t *testing.T) {
	le := binary.LittleEndian
	number := func(n int) []byte { return le.AppendUint32(nil, uint32(n)) }
	at := func(n ...uint32) (b []byte) {
		for _, v := range n {
			b = le.AppendUint32(le.AppendUint32(b, v), 1)
		}
		return b
	}
	const exif, inter = 8 + 2 + 2*12 + 4, 8 + 2 + 2*12 + 4 + 2 + 12 + 4
	b := append([]byte("II*\x00"), 8, 0, 0, 0)
	b = appendIFD(b, []tag{{0x8769, 4, 1, number(exif)}, {0x8825, 4, 1, number(inter + 2 + 2*12 + 4)}})
	b = appendIFD(b, []tag{{0xa005, 4, 1, number(inter)}})
	b = appendIFD(b, []tag{{1, 2, 4, text0("R98")}, {2, 7, 4, []byte("0100")}})
	b = appendIFD(b, []tag{{1, 2, 2, text0("N")}, {2, 5, 3, at(41, 30, 36)}, {3, 2, 2, text0("W")}, {4, 5, 3, at(106, 15, 0)}})
	m := look(bytes.NewReader(jpegWith(b)), "jpg")
	if m.At == nil || m.At.String() != "41.51000, -106.25000" {
		t.Errorf("%+v", m.At)
	}
}

func BenchmarkTaken(b *testing.B) {
	photo := append(jpegWith(exifBlock("2019:06:21 10:11:12", "-06:00")), make([]byte, 1<<20)...)
	r := strings.NewReader(string(photo))
	for b.Loop() {
		r.Seek(0, io.SeekStart)
		if look(r, "jpg").Taken == "" {
			b.Fatal("no date")
		}
	}
}
