package ranch

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/bep/imagemeta"
)

// The details of every picture, read by a maintained library.
func TestExifByLibrary(t *testing.T) {
	dir, r := tree(t)
	for _, v := range r.Visits {
		for _, view := range v.views() {
			name := filepath.Join(dir, v.Folder(), view+".jpg")
			b, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			var tags imagemeta.Tags
			_, err = imagemeta.Decode(imagemeta.Options{
				R: bytes.NewReader(b), ImageFormat: imagemeta.JPEG, Sources: imagemeta.EXIF,
				ShouldHandleTag: func(imagemeta.TagInfo) bool { return true },
				HandleTag:       func(i imagemeta.TagInfo) error { tags.Add(i); return nil },
				Warnf:           func(f string, a ...any) { t.Errorf("%s: "+f, append([]any{name}, a...)...) },
			})
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			want := v.Shot(testSeed, view)
			exif := tags.EXIF()
			for tag, value := range map[string]string{
				"DateTimeOriginal":   want.Time.Format("2006:01:02 15:04:05"),
				"OffsetTimeOriginal": "-06:00",
				"Make":               "Longspur Optical",
				"GPSMapDatum":        "WGS-84",
			} {
				if got, _ := exif[tag].Value.(string); got != value {
					t.Errorf("%s: %s is %q, want %q", name, tag, got, value)
				}
			}
			if got := exif["Orientation"].Value; got != uint16(1) {
				t.Errorf("%s: Orientation %v, want 1", name, got)
			}
			lat, lon, err := tags.GetLatLong()
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if m := meters(lat, lon, v.Site); m > want.Error {
				t.Errorf("%s: %.1f m from its stake, stated error %.1f m", name, m, want.Error)
			}
		}
	}
}

func (v *Visit) views() []string {
	if v.NoLandscape {
		return []string{"plot"}
	}
	return []string{"plot", "landscape"}
}

// meters on a sphere, plenty for a few of them.
func meters(lat, lon float64, s *Site) float64 {
	const perDegree = 111_200.0
	return math.Hypot((lat-s.Latitude)*perDegree, (lon-s.Longitude)*perDegree*math.Cos(lat*math.Pi/180))
}

// The same details by an independent reader, which also validates the
// structure: exiftool (Debian's libimage-exiftool-perl).
func TestExifByIndependentReader(t *testing.T) {
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		t.Skip("exiftool is not installed: the pictures' details were NOT checked by an independent reader")
	}
	dir, r := tree(t)
	out, err := exec.Command(tool, "-json", "-n", "-r", "-a", "-validate", "-warning", "-error",
		"-DateTimeOriginal", "-OffsetTimeOriginal", "-GPSLatitude", "-GPSLongitude", "-GPSHPositioningError",
		"-GPSDateTime", "-GPSImgDirection", "-Make", "-Model", "-Orientation", "-ImageWidth", "-ExifImageWidth", "-FileType", dir).Output()
	if err != nil {
		t.Fatalf("exiftool: %v", err)
	}
	var list []struct {
		SourceFile, DateTimeOriginal, OffsetTimeOriginal, GPSDateTime, Make, Model, FileType string
		GPSLatitude, GPSLongitude, GPSHPositioningError, GPSImgDirection                     float64
		Orientation, ImageWidth, ExifImageWidth                                              int
		Validate, Warning, Error                                                             any
	}
	if err := json.Unmarshal(out, &list); err != nil {
		t.Fatal(err)
	}
	read := map[string]int{}
	for i, e := range list {
		if strings.HasSuffix(e.SourceFile, ".jpg") {
			read[filepath.ToSlash(e.SourceFile)] = i
		}
	}
	pictures := 0
	for _, v := range r.Visits {
		for _, view := range v.views() {
			pictures++
			name := filepath.ToSlash(dir) + "/" + v.Folder() + "/" + view + ".jpg"
			i, ok := read[name]
			if !ok {
				t.Errorf("%s: not read", name)
				continue
			}
			e, want := list[i], v.Shot(testSeed, view)
			if e.Warning != nil || e.Error != nil || e.Validate != "0 0 0" {
				t.Errorf("%s: validation %v, warning %v, error %v", name, e.Validate, e.Warning, e.Error)
			}
			taken, err := time.Parse("2006:01:02 15:04:05-07:00", e.DateTimeOriginal+e.OffsetTimeOriginal)
			if err != nil || !taken.Equal(want.Time) {
				t.Errorf("%s: taken %v (%v), want %v", name, taken, err, want.Time)
			}
			if fix, err := time.Parse("2006:01:02 15:04:05Z", e.GPSDateTime); err != nil || !fix.Equal(want.Time) {
				t.Errorf("%s: position at %v (%v), want %v", name, fix, err, want.Time)
			}
			if math.Abs(e.GPSLatitude-want.Lat) > 1e-6 || math.Abs(e.GPSLongitude-want.Lon) > 1e-6 {
				t.Errorf("%s: at %v %v, want %v %v", name, e.GPSLatitude, e.GPSLongitude, want.Lat, want.Lon)
			}
			if math.Abs(e.GPSHPositioningError-want.Error) > 0.051 {
				t.Errorf("%s: position good to %v m, want %v", name, e.GPSHPositioningError, want.Error)
			}
			if view == "landscape" && e.GPSImgDirection != float64(v.Site.Bearing) {
				t.Errorf("%s: looks to %v, want %d", name, e.GPSImgDirection, v.Site.Bearing)
			}
			if e.Make != want.Make || e.Model != want.Model || e.Orientation != 1 || e.FileType != "JPEG" ||
				e.ImageWidth != width || e.ExifImageWidth != width {
				t.Errorf("%s: %+v", name, e)
			}
		}
	}
	if len(read) != pictures {
		t.Errorf("%d pictures on disk, %d expected", len(read), pictures)
	}
}
