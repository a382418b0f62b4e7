package decode

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"linecamp/manifest"
)

func verdict(t testing.TB, b []byte) Verdict {
	t.Helper()
	v, err := File(t.Context(), bytes.NewReader(b), manifest.Sum(b))
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// The files in testdata are pictures of nothing that real encoders wrote: cjpeg and
// jpegtran of libjpeg-turbo (2.1.5), whose options their names tell, Ghostscript
// (cmyk, deep16) and netpbm's pnmtopng (interlaced). Some are of kinds that are not
// decoded here, and none may be called bad.
func TestRealEncoders(t *testing.T) {
	unasked := map[string]string{
		"arithmetic.jpg": "arithmetic coding", "progressive-restart.jpg": "restart marks", "mixed-sampling.jpg": "subsampling ratio",
	}
	files, err := filepath.Glob("testdata/*.*g")
	if err != nil || len(files) < 15 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	for _, name := range files {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		v := verdict(t, b)
		if why, is := unasked[filepath.Base(name)]; is {
			if v.State != Unasked || !strings.Contains(v.Why, why) {
				t.Errorf("%s: %+v", name, v)
			}
		} else if v.State != Good {
			t.Errorf("%s: %+v", name, v)
		}
	}
}

// picture is a picture with something in every part of it.
func picture(width, height int) *image.RGBA {
	m := image.NewRGBA(image.Rect(0, 0, width, height))
	for y := range height {
		for x := range width {
			m.Set(x, y, color.RGBA{uint8(x*y + x), uint8(x * 3), uint8(y * 5), 255})
		}
	}
	return m
}

func encoded(t testing.TB) (j, p []byte) {
	t.Helper()
	var a, b bytes.Buffer
	if err := errors.Join(jpeg.Encode(&a, picture(120, 90), nil), png.Encode(&b, picture(120, 90))); err != nil {
		t.Fatal(err)
	}
	return a.Bytes(), b.Bytes()
}

// TestDamage: a part of the picture's data that went, or became zeros, as sectors
// of a failing card do, is found, while the structure is whole.
func TestDamage(t *testing.T) {
	j, p := encoded(t)
	progressive, err := os.ReadFile("testdata/progressive.jpg")
	if err != nil {
		t.Fatal(err)
	}
	cut := func(b []byte, from, to int) []byte { return append(bytes.Clone(b[:from]), b[to:]...) }
	zeros := func(b []byte, from, to int) []byte {
		b = bytes.Clone(b)
		clear(b[from:to])
		return b
	}
	idat := bytes.Index(p, []byte("IDAT"))
	flipped := bytes.Clone(p)
	flipped[idat+200] ^= 4
	for name, b := range map[string][]byte{
		"the end of a JPEG's data is missing, its mark is there": cut(j, len(j)-1500, len(j)-2),
		"zeros in a progressive JPEG's tables":                   zeros(progressive, 200, 400),
		"no scan":                                                append(bytes.Clone(j[:bytes.Index(j, []byte("\xff\xda"))]), 0xff, 0xd9),
		"a bit of a PNG":                                         flipped,
		"a PNG's data cut, its sums right":                       resummed(cut(p, idat+300, idat+700), idat, 400),
	} {
		if v := verdict(t, b); v.State != Bad || v.Why == "" {
			t.Errorf("%s: %+v", name, v)
		}
	}
	if v := verdict(t, append(bytes.Clone(j), "a maker's own words behind the picture"...)); v.State != Good {
		t.Errorf("something behind the picture: %+v", v)
	}
}

// resummed makes the length and sum of the chunk whose name stands at a place
// right again, after so many bytes were cut.
func resummed(b []byte, at, cut int) []byte {
	n := binary.BigEndian.Uint32(b[at-4:]) - uint32(cut)
	binary.BigEndian.PutUint32(b[at-4:], n)
	binary.BigEndian.PutUint32(b[at+4+int(n):], crc32.ChecksumIEEE(b[at:at+4+int(n)]))
	return b
}

// bomb is the beginning of a picture that says it is so large.
func bomb(kind byte, width, height int) []byte {
	b := []byte{0xff, 0xd8, 0xff, kind, 0, 17, 8}
	b = binary.BigEndian.AppendUint16(b, uint16(height))
	b = binary.BigEndian.AppendUint16(b, uint16(width))
	b = append(b, 3, 1, 0x22, 0, 2, 0x11, 1, 3, 0x11, 1)
	return append(b, 0xff, 0xda, 0, 12, 3, 1, 0, 2, 0x11, 3, 0x11, 0, 63, 0, 0xff, 0xd9)
}

func pngBomb(width, height uint32, depth byte) []byte {
	b := []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR")
	b = binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(b, width), height)
	b = append(b, depth, 6, 0, 0, 0)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[12:]))
}

// TestBombs: what says it is enormous takes no memory.
func TestBombs(t *testing.T) {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	for name, b := range map[string][]byte{
		"baseline": bomb(0xc0, 60000, 60000), "progressive": bomb(0xc2, 60000, 60000), "the largest": bomb(0xc1, 65535, 65535),
		"PNG": pngBomb(60000, 60000, 8), "the largest PNG": pngBomb(1<<31-1, 1<<31-1, 16), "a wide one": pngBomb(1<<31-1, 1, 16),
	} {
		if v := verdict(t, b); v.State != Unasked || !strings.Contains(v.Why, "too large") {
			t.Errorf("%s: %+v", name, v)
		}
	}
	if runtime.ReadMemStats(&after); after.TotalAlloc-before.TotalAlloc > 16<<20 {
		t.Errorf("%d bytes were taken for them", after.TotalAlloc-before.TotalAlloc)
	}
}

// TestReckoning: what is reckoned from a header is at least what its decoder takes,
// and not many times as much. The pictures are large, so that what every picture
// is allowed beside its samples does not decide.
func TestReckoning(t *testing.T) {
	const width, height = 2000, 1500
	box := image.Rect(0, 0, width, height)
	asPNG := func(m image.Image) []byte {
		var b bytes.Buffer
		if err := (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(&b, m); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	asJPEG := func(m image.Image) []byte {
		var b bytes.Buffer
		if err := jpeg.Encode(&b, m, nil); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	// A progressive frame (SOF2) and a scan of the first coefficients (Se 0) over the
	// same blocks (ISO/IEC 10918-1, B.2.2 and B.2.3): whether it decodes to its end or
	// not, all its memory is taken by then.
	progressive := bytes.Replace(asJPEG(image.NewGray(box)), []byte("\xff\xc0"), []byte("\xff\xc2"), 1)
	scan := []byte("\xff\xda\x00\x08\x01\x01\x00\x00")
	progressive = bytes.Replace(progressive, append(scan, 0x3f), append(scan[:len(scan):len(scan)], 0), 1)
	for name, b := range map[string][]byte{
		"colour": asJPEG(image.NewRGBA(box)), "gray": asJPEG(image.NewGray(box)), "progressive": progressive,
		"png": asPNG(image.NewNRGBA(box)), "png of 16 bits": asPNG(image.NewNRGBA64(box)), "gray png": asPNG(image.NewGray(box)),
	} {
		h, err := readHeader(bytes.NewReader(b))
		if err != nil || h.why != "" {
			t.Fatalf("%s: %+v, %v", name, h, err)
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, _, err = image.Decode(bytes.NewReader(b))
		runtime.ReadMemStats(&after)
		took := int64(after.TotalAlloc - before.TotalAlloc)
		if took < width*height {
			t.Fatalf("%s: only %d bytes were taken: %v", name, took, err)
		}
		if took > h.bytes || h.bytes > 8*took {
			t.Errorf("%s: %d bytes were reckoned, %d taken", name, h.bytes, took)
		}
	}
}

// A picture that takes too long is given up, without a word on the picture.
func TestSlow(t *testing.T) {
	defer func(was time.Duration) { longest = was }(longest)
	longest = 0
	j, _ := encoded(t)
	if v, err := File(t.Context(), bytes.NewReader(j), manifest.Sum(j)); !errors.Is(err, ErrSlow) || v != (Verdict{}) {
		t.Errorf("%+v, %v", v, err)
	}
}

func TestOthers(t *testing.T) {
	for _, b := range []string{"", "x", "II*\x00", "\x00\x00\x00\x18ftypheic", "\xff"} {
		if v := verdict(t, []byte(b)); v.State != Other {
			t.Errorf("%q: %+v", b, v)
		}
	}
	j, _ := encoded(t)
	if _, err := File(t.Context(), bytes.NewReader(j), manifest.Sum(nil)); !errors.Is(err, ErrChanged) {
		t.Errorf("other bytes: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if v, err := File(ctx, bytes.NewReader(j), manifest.Sum(j)); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %+v, %v", v, err)
	}
}

// failing is a drive that gives up in the middle.
type failing struct {
	*bytes.Reader
	after int
}

var errDrive = errors.New("input/output error")

func (f *failing) Read(p []byte) (int, error) {
	if f.after -= len(p); f.after < 0 {
		return 0, errDrive
	}
	return f.Reader.Read(p)
}

func TestADriveThatFailsIsNoPicturesFault(t *testing.T) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, picture(1500, 1500), &jpeg.Options{Quality: 100}); err != nil {
		t.Fatal(err)
	}
	if v, err := File(t.Context(), &failing{bytes.NewReader(b.Bytes()), 200 << 10}, manifest.Sum(b.Bytes())); !errors.Is(err, errDrive) {
		t.Errorf("%+v, %v", v, err)
	}
}

func FuzzFile(f *testing.F) {
	j, p := encoded(f)
	f.Add(j)
	f.Add(p)
	f.Add(bomb(0xc2, 1, 65535))
	f.Add(pngBomb(3, 3, 16))
	f.Fuzz(func(t *testing.T, b []byte) {
		h, err := readHeader(bytes.NewReader(b))
		if err != nil || h.bytes > 4<<20 { // the machine has other work
			return
		}
		if v := verdict(t, b); v.State < Good || v.State > Other || (v.State == Bad || v.State == Unasked) == (v.Why == "") {
			t.Fatalf("%+v", v)
		}
	})
}
