package facts

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/manifest/geo"
	"linecamp/manifest/layout"
	"linecamp/manifest/names"
)

// theirPicture is what exiftool says of one picture. The numbers are read as
// they come: a value that is none is a text there.
type theirPicture struct {
	SourceFile                                                 string
	DateTimeOriginal, OffsetTimeOriginal                       any
	GPSLatitude, GPSLatitudeRef, GPSLongitude, GPSLongitudeRef any
	GPSMapDatum, GPSStatus, GPSHPositioningError               any
	Make, Model, Orientation                                   any
}

// TestRealPicturesAgainstExiftool compares date, position, its error, camera and
// orientation of real pictures with an independent reader: exiftool (Debian's
// libimage-exiftool-perl). The pictures are those that the module
// github.com/bep/imagemeta, pinned in go.mod, brings for its own tests (phones,
// compact and system cameras, raw files, scans, files broken on purpose; under
// CC0, CC BY-SA, BSD and Apache licences, told beside them). None is copied here.
func TestRealPicturesAgainstExiftool(t *testing.T) {
	tool := exiftool(t)
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/bep/imagemeta").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	root := filepath.Join(strings.TrimSpace(string(out)), "testdata", "images")
	var files []string
	err = filepath.WalkDir(root, func(name string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() && layout.FormOf(name).IsPicture() {
			files = append(files, name)
		}
		return err
	})
	if err != nil || len(files) < 100 {
		t.Fatalf("only %d pictures below %s, %v", len(files), root, err)
	}
	args := []string{"-json", "-q", "-m"}
	for _, tag := range []string{"EXIF:DateTimeOriginal", "EXIF:OffsetTimeOriginal", "GPS:GPSLatitude", "GPS:GPSLatitudeRef", "GPS:GPSLongitude", "GPS:GPSLongitudeRef",
		"GPS:GPSMapDatum", "GPS:GPSStatus", "GPS:GPSHPositioningError", "IFD0:Make", "IFD0:Model", "IFD0:Orientation"} {
		args = append(args, "-"+tag+"#")
	}
	copies, of := t.TempDir(), map[string]string{}
	given := make([]string, len(files))
	for i, name := range files {
		given[i] = ended(t, name, filepath.Join(copies, fmt.Sprint(i)+filepath.Ext(name)))
		of[given[i]] = name
	}
	out, _ = exec.Command(tool, append(args, given...)...).Output() // its status tells of files it cannot read, which are among these
	var theirs []theirPicture
	if err := json.Unmarshal(out, &theirs); err != nil {
		t.Fatal(err)
	}
	if len(theirs) != len(files) {
		t.Errorf("exiftool told of %d of %d pictures", len(theirs), len(files))
	}
	var dated, placed, turned int
	cameras := map[string]bool{}
	for _, p := range theirs {
		file := of[p.SourceFile]
		name, _ := filepath.Rel(root, file)
		f, err := os.Open(file)
		if err != nil {
			t.Fatal(err)
		}
		got := look(f, names.Extension(file))
		f.Close()
		if want := p.taken(); got.Taken != want {
			t.Errorf("%s: taken %q, exiftool says %q", name, got.Taken, want)
		} else if want != "" {
			dated++
		}
		want := p.at()
		switch {
		case (got.At == nil) != (want == nil), want != nil && (geo.Distance(got.At.Position, want.Position) > 0.02 || math.Abs(got.At.Error-want.Error) > 1e-4*want.Error):
			t.Errorf("%s: at %v, exiftool says %v", name, got.At, want)
		case want != nil:
			placed++
		}
		n, _ := p.Orientation.(float64)
		if n < 1 || n > 8 {
			n = 0 // Exif has no others
		}
		if uint8(n) != got.Turn {
			t.Errorf("%s: to be turned by %d, exiftool says %v", name, got.Turn, p.Orientation)
		} else if n > 0 {
			turned++
		}
		// A maker's name that the model repeats is told once. Of one file, broken on
		// purpose, exiftool reads no camera.
		if name == filepath.FromSlash("goexif/geodegrees_as_string.jpg") {
			continue
		}
		if want := strings.Fields(textOf(p.Make) + " " + textOf(p.Model)); !within(got.Camera, want) {
			t.Errorf("%s: camera %q, exiftool says %q", name, got.Camera, want)
		} else if got.Camera != "" {
			cameras[got.Camera] = true
		}
	}
	t.Logf("%d pictures of %d cameras; %d dates, %d positions and %d orientations agree", len(files), len(cameras), dated, placed, turned)
	if dated < 60 || placed < 10 || len(cameras) < 30 {
		t.Errorf("too little was compared")
	}
}

// within reports whether a text has all of the words, and nothing but them.
func within(text string, words []string) bool {
	return !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(text, w) }) &&
		!slices.ContainsFunc(strings.Fields(text), func(w string) bool { return !slices.Contains(words, w) })
}

// ended is a JPEG whose author cut away all behind its tags, in a copy that says
// so: the parts that are whole, and the mark of the end, without which exiftool
// reads nothing of it. Any other file is given as it is.
func ended(t *testing.T, name, copied string) string {
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	at := 2
	for at+4 <= len(b) && b[0] == 0xff && b[1] == 0xd8 && b[at] == 0xff && b[at+1] != 0xda {
		next := at + 2 + int(b[at+2])<<8 + int(b[at+3])
		if next > len(b) {
			break
		}
		at = next
	}
	if at == 2 || at+2 <= len(b) && b[at] == 0xff && (b[at+1] == 0xda || b[at+1] == 0xd9) {
		return name
	}
	if err := os.WriteFile(copied, append(b[:at:at], 0xff, 0xd9), 0o666); err != nil {
		t.Fatal(err)
	}
	return copied
}

// text is a value without what pads it.
func textOf(v any) string {
	if v == nil {
		return ""
	}
	return strings.TrimRight(fmt.Sprint(v), "\x00 ")
}

// taken is their date as a tally tells it, where it is a real one.
func (p theirPicture) taken() string {
	d, err := time.Parse("2006:01:02 15:04:05", textOf(p.DateTimeOriginal))
	if err != nil || d.Year() == 0 {
		return ""
	}
	return d.Format("2006-01-02T15:04:05") + textOf(p.OffsetTimeOriginal)
}

// at is their position, where a tally would take it for one: that a position
// needs its hemispheres, a datum near enough to WGS 84 and no word that it is void is
// our own rule, told here again; the figures are theirs.
func (p theirPicture) at() *geo.Fix {
	lat, ok := p.GPSLatitude.(float64)
	long, also := p.GPSLongitude.(float64)
	north, east := textOf(p.GPSLatitudeRef), textOf(p.GPSLongitudeRef)
	datum := strings.NewReplacer(" ", "", "-", "", "_", "").Replace(strings.ToUpper(textOf(p.GPSMapDatum)))
	if !ok || !also || north == "" || east == "" || textOf(p.GPSStatus) == "V" || !slices.Contains([]string{"", "WGS84", "NAD83"}, datum) {
		return nil
	}
	if north == "S" {
		lat = -lat
	}
	if east == "W" {
		long = -long
	}
	f := &geo.Fix{Position: geo.Position{Latitude: lat, Longitude: long}}
	f.Error, _ = p.GPSHPositioningError.(float64)
	if !f.Told() {
		return nil
	}
	return f
}
