// Package facts says what one reading of a file tells beside its hashes: when and where
// a camera took a photo, how large the picture is and whether all of it is there, and
// what a text note speaks of.
//
// Begin with [Of], which reads the [Facts] of one open file. It never fails: what cannot
// be understood tells nothing.
package facts

import (
	"image"
	"io"
	"os"
	"unique"

	// The formats whose size is read from their own structure.
	_ "image/jpeg"
	_ "image/png"

	"linecamp/manifest/geo"
	"linecamp/manifest/layout"
	"linecamp/manifest/names"
)

// Facts are what one reading of a file told beside its hashes. They are
// remembered with those, so that an unchanged file is not opened again.
type Facts struct {
	// Taken is a photo's Exif original date-time, "2019-06-21T10:11:12", by the
	// camera's own clock, with "-06:00" behind it if the camera wrote its
	// offset. Without one it is taken to be the ranch's local time, as people
	// set such clocks, and nothing is converted.
	Taken string
	// At is where the camera says it stood, nil where it does not.
	At *geo.Fix
	// Exposed: its tags state an exposure, which scans and exports lack.
	Exposed bool
	// Camera is its make and model, "" where it does not say.
	Camera string
	// Turn is Exif's Orientation, 1 to 8 (CIPA DC-008, section 4.6.4 A): how the
	// stored picture is to be turned to stand upright. 0 where it is not told.
	Turn uint8
	// Width and Height are in pixels, as stored; 0 where they are not known.
	Width, Height uint32
	// Topics are what a text note speaks of; Blank: nothing is written in it.
	Topics Topics
	Blank  bool
	// Fault is what is wrong with the file's structure, "" where nothing is or
	// its format is not checked.
	Fault string
}

// Of reads what f tells, which has a name and is of size bytes. f is open at any place.
func Of(f *os.File, name string, size int64) (k Facts) {
	form, ext := layout.FormOf(name), names.Extension(name)
	rewind := func() bool { _, err := f.Seek(0, io.SeekStart); return err == nil }
	switch {
	case form.IsPicture() && rewind():
		k = look(f, ext)
		if rewind() {
			k.frame(f)
		}
		k.Fault = faultOf(f, size)
	case form == layout.Note && isText[ext] && rewind():
		k.Topics, k.Blank = topicsOf(f)
	}
	return k
}

// frame takes the size in pixels from the picture itself, where it is a JPEG or
// a PNG: what its tags say is of the picture before any program made it smaller.
func (k *Facts) frame(r io.ReadSeeker) {
	defer func() { _ = recover() }() // of a decoder that stumbles
	c, _, err := image.DecodeConfig(&budget{r: r, bytes: exifBytes, calls: exifReads})
	if err == nil && c.Width > 0 && c.Height > 0 {
		k.Width, k.Height = uint32(c.Width), uint32(c.Height)
	}
}

// one keeps a single string for all the photos of a camera.
func one(s string) string { return unique.Make(s).Value() }
