package intake

import (
	"image"
	"image/color"
	"testing"
)

// Exif orientation says where the stored picture's row 0 and column 0 are
// (CIPA DC-008, 4.6.5): 6 is "row 0 is the right side, column 0 the top", 8
// "row 0 the left side, column 0 the bottom", 3 turned by half.
func TestUpright(t *testing.T) {
	stored := image.NewRGBA(image.Rect(0, 0, 3, 2))
	mark := color.RGBA{255, 0, 0, 255}
	stored.SetRGBA(0, 0, mark)
	for orientation, want := range map[int]image.Point{1: {0, 0}, 2: {2, 0}, 3: {2, 1}, 4: {0, 1}, 5: {0, 0}, 6: {1, 0}, 7: {1, 2}, 8: {0, 2}} {
		m := upright(stored, orientation)
		if m.RGBAAt(want.X, want.Y) != mark {
			t.Errorf("orientation %d: the first pixel is not at %v", orientation, want)
		}
		if turned := m.Rect.Dx() == 2; turned != (orientation >= 5) {
			t.Errorf("orientation %d: %v", orientation, m.Rect)
		}
	}
}

func shrunkTest() *image.RGBA { return image.NewRGBA(image.Rect(0, 0, 64, 48)) }
