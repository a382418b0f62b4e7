package facts

import (
	"bytes"
	"image"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"testing"
)

// The size is the picture's own, whatever its tags say.
func TestFrame(t *testing.T) {
	var j, p bytes.Buffer
	m := image.NewGray(image.Rect(0, 0, 48, 32))
	if err := jpeg.Encode(&j, m, nil); err != nil {
		t.Fatal(err)
	}
	if err := png.Encode(&p, m); err != nil {
		t.Fatal(err)
	}
	for name, b := range map[string][]byte{"a.jpg": j.Bytes(), "b.png": p.Bytes(), "wrong name.jpg": p.Bytes()} {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, b, 0o666); err != nil {
			t.Fatal(err)
		}
		f, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if k := Of(f, name, int64(len(b))); k.Width != 48 || k.Height != 32 || k.Fault != "" {
			t.Errorf("%s: %+v", name, k)
		}
	}
}

func TestCamera(t *testing.T) {
	for _, c := range [][3]string{
		{"Longspur Optical", "Pocket 8", "Longspur Optical Pocket 8"},
		{"LONGSPUR", "Longspur Pocket 8", "Longspur Pocket 8"},
		{"", "Pocket 8\x00", "Pocket 8"},
		{" Longspur ", "", "Longspur"},
		{"", "", ""},
		{"", "\xff\xfe", "\uFFFD"},
	} {
		if got := camera(c[0], c[1]); got != c[2] {
			t.Errorf("camera(%q, %q) = %q, want %q", c[0], c[1], got, c[2])
		}
	}
}
