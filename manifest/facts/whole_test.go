package facts

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"slices"
	"strings"
	"testing"
)

// picture is small and noisy enough that its data has every kind of byte.
func picture() image.Image {
	m := image.NewRGBA(image.Rect(0, 0, 61, 47))
	n := uint32(1)
	for y := range 47 {
		for x := range 61 {
			n = n*1664525 + 1013904223
			m.Set(x, y, color.RGBA{byte(n >> 24), byte(n >> 16), byte(n >> 8), 255})
		}
	}
	return m
}

func encoded(t testing.TB) (jpg, pngs []byte) {
	var a, b bytes.Buffer
	if err := jpeg.Encode(&a, picture(), nil); err != nil {
		t.Fatal(err)
	}
	if err := png.Encode(&b, picture()); err != nil {
		t.Fatal(err)
	}
	return a.Bytes(), b.Bytes()
}

func fault(b []byte) string { return faultOf(bytes.NewReader(b), int64(len(b))) }

// The encoders of the standard library are the judges of what is whole.
func TestWholeOfPicturesCutShort(t *testing.T) {
	jpg, pngs := encoded(t)
	heic := heicWith(exifBlock("2019:06:21 10:11:12", ""))
	mdat := bytes.Index(heic, []byte("mdat")) - 4
	for name, whole := range map[string][]byte{"JPEG": jpg, "PNG": pngs, "HEIC": heic} {
		for what, b := range map[string][]byte{
			"whole": whole,
			// Common practice: cameras and phones append previews, clips and padding.
			"with zeros behind":       append(bytes.Clone(whole), make([]byte, 100)...),
			"with more behind":        append(bytes.Clone(whole), "SEFH and some maker's own"...),
			"with half a mark behind": append(bytes.Clone(whole), 0xff),
		} {
			if got := fault(b); got != "" {
				t.Errorf("%s, %s: %s", name, what, got)
			}
		}
		for n := 12; n < len(whole); n++ {
			if name == "HEIC" && n >= mdat && n < mdat+8 {
				continue // what remains is no box, so it may be some maker's own
			}
			if got := fault(whole[:n]); !strings.Contains(got, "cut short") {
				t.Fatalf("%s cut after %d of %d bytes: %q", name, n, len(whole), got)
			}
		}
		if name == "HEIC" {
			continue // what fills its data is the decoder's matter
		}
		zeroed := append(bytes.Clone(whole[:len(whole)/2]), make([]byte, len(whole)-len(whole)/2)...)
		if fault(zeroed) == "" {
			t.Errorf("%s whose second half is zeros: no fault", name)
		}
	}
}

// What a fuzzer found: decoders pass over what lies between two segments, over
// marks that stand alone and over any number of filling bytes.
func TestWholeBetweenSegments(t *testing.T) {
	whole, _ := encoded(t)
	for name, between := range map[string]string{"bytes of no segment": "\x00\x01some maker's own\xff\x00", "a mark of a restart": "\xff\xd3", "filling": "\xff\xff\xff"} {
		b := slices.Concat(whole[:2], []byte(between), whole[2:])
		if _, err := jpeg.Decode(bytes.NewReader(b)); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if got := fault(b); got != "" {
			t.Errorf("%s: %q", name, got)
		}
	}
	sos := bytes.Index(whole, []byte("\xff\xda"))
	if got := fault(slices.Concat(whole[:2], whole[sos:])); !strings.Contains(got, "how large") {
		t.Errorf("without a frame: %q", got)
	}
}

func TestWholeOfOtherThings(t *testing.T) {
	for _, c := range []struct{ name, content, want string }{
		{"nothing", "", "empty"},
		{"zeros", strings.Repeat("\x00", 5000), "begins with zeros"},
		{"not checked: TIFF", "II*\x00 and so on", ""},
		{"not checked: some other picture", "RIFF....WEBP", ""},
		{"garbage in the segments", "\xff\xd8\xff\xe0\x00\x04abXX" + strings.Repeat("x", 100), "damaged at byte 8"},
		{"a JPEG of headers only", "\xff\xd8\xff\xe0\x00\x04ab\xff\xd9....", "before its picture begins"},
	} {
		got := fault([]byte(c.content))
		if (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// Nothing that the decoders of the standard library can show whole is faulted.
func FuzzWhole(f *testing.F) {
	jpg, pngs := encoded(f)
	f.Add(jpg)
	f.Add(pngs)
	f.Add(heicWith(exifBlock("", "")))
	f.Fuzz(func(t *testing.T, b []byte) {
		got := fault(b)
		if c, _, err := image.DecodeConfig(bytes.NewReader(b)); err != nil || c.Width*c.Height > 1<<20 {
			return
		}
		_, format, err := image.Decode(bytes.NewReader(b))
		if err == nil && got != "" && !(format == "jpeg" && !bytes.Contains(b, []byte("\xff\xd9"))) {
			t.Errorf("%s, which decodes: %s", format, got)
		}
	})
}
