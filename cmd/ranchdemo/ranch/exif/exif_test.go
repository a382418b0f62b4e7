package exif

import (
	"strings"
	"testing"
)

func TestDegrees(t *testing.T) {
	for _, c := range []struct {
		v    float64
		ref  string
		want [6]uint32
	}{
		{41.5, "N", [6]uint32{41, 1, 30, 1, 0, 1000}},
		{-103.25417, "S", [6]uint32{103, 1, 15, 1, 15012, 1000}},
		{0.9999999999, "N", [6]uint32{1, 1, 0, 1, 0, 1000}}, // never 60 seconds
	} {
		if ref, got := degrees(c.v, "N", "S"); ref != c.ref || got != c.want {
			t.Errorf("%v: %s %v, want %s %v", c.v, ref, got, c.ref, c.want)
		}
	}
}

func TestExifNeedsAJPEG(t *testing.T) {
	if _, err := With([]byte("GIF89a"), Shot{}); err == nil {
		t.Error("took something that is no JPEG")
	}
	if _, err := With([]byte{0xFF, 0xD8}, Shot{Title: strings.Repeat("x", 70_000)}); err == nil {
		t.Error("wrote a segment longer than its length can say")
	}
}
