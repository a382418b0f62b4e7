package sky

import (
	"image"
	"image/color"
	"math/rand/v2"
	"testing"
)

// paint makes a picture of noise around two colors, the upper reaching down to
// a share of its height.
func paint(w, h int, share float64, top, bottom color.RGBA, noiseTop, noiseBottom int) *image.RGBA {
	r := rand.New(rand.NewPCG(1, 2))
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		c, n := bottom, noiseBottom
		if float64(y) < share*float64(h) {
			c, n = top, noiseTop
		}
		for x := range w {
			d := 0
			if n > 0 {
				d = r.IntN(2*n+1) - n
			}
			f := func(v uint8) uint8 { return uint8(max(0, min(255, int(v)+d))) }
			m.SetRGBA(x, y, color.RGBA{f(c.R), f(c.G), f(c.B), 255})
		}
	}
	return m
}

func TestLook(t *testing.T) {
	grass, straw, gravel := color.RGBA{90, 110, 50, 255}, color.RGBA{190, 170, 110, 255}, color.RGBA{150, 145, 140, 255}
	blue, cloud := color.RGBA{110, 150, 215, 255}, color.RGBA{225, 228, 232, 255}
	for _, c := range []struct {
		name string
		m    image.Image
		want string
	}{
		{"blue over grass", paint(640, 480, 0.4, blue, grass, 2, 30), Sky},
		{"overcast over straw", paint(640, 480, 0.3, cloud, straw, 2, 30), Sky},
		{"upright", paint(480, 640, 0.3, blue, grass, 2, 30), Sky},
		{"grass", paint(640, 480, 0, blue, grass, 0, 30), Ground},
		{"straw", paint(640, 480, 0, blue, straw, 0, 30), Ground},
		{"pale gravel", paint(640, 480, 0.5, gravel, gravel, 30, 30), Ground},
		{"a smooth dark top", paint(640, 480, 0.4, color.RGBA{40, 30, 25, 255}, grass, 1, 30), Unsure},
		{"too small to tell", paint(20, 15, 0.4, blue, grass, 2, 30), Unsure},
	} {
		if got := Look(c.m); got != c.want {
			share, evenness := Measure(c.m)
			t.Errorf("%s: %s, want %s (share %.2f, evenness %.2f)", c.name, got, c.want, share, evenness)
		}
	}
}
