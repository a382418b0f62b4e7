package tally

import (
	"bytes"
	"encoding/json"
	"os/exec"
	"testing"
	"time"
)

// TestExifAgainstExiftool compares dates with an independent reader, exiftool
// (Debian's libimage-exiftool-perl), on files written here byte by byte.
func TestExifAgainstExiftool(t *testing.T) {
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		t.Skip("exiftool is not installed, so dates are not compared with it")
	}
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
		put(t, root, name, b)
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
		if got := taken0(b, extension(name)); got != w {
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
	taken(e, "jpg")
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
		got := taken(bytes.NewReader(b), ext)
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
