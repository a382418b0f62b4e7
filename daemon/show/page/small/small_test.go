package small

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
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/image/tiff"
	"pgregory.net/rapid"

	"linecamp/manifest"
)

func TestMain(m *testing.M) {
	if Child() {
		return
	}
	os.Exit(m.Run())
}

type bytesSource struct{ *bytes.Reader }

func (bytesSource) Close() error { return nil }

func photo(b []byte, turn int) Photo {
	return Photo{Digest: manifest.Sum(b), Turn: turn, Open: func(context.Context) (Source, error) { return bytesSource{bytes.NewReader(b)}, nil }}
}

// corners is a picture whose four quarters are red, green, blue and gray.
func corners(w, h int) *image.RGBA {
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := [][]color.RGBA{{{200, 0, 0, 255}, {0, 200, 0, 255}}, {{0, 0, 200, 255}, {128, 128, 128, 255}}}[2*y/h][2*x/w]
			m.SetRGBA(x, y, c)
		}
	}
	return m
}

func encoded(t testing.TB, form string, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	var err error
	switch form {
	case "JPEG":
		err = jpeg.Encode(&b, m, &jpeg.Options{Quality: 95})
	case "PNG":
		err = png.Encode(&b, m)
	case "TIFF":
		err = tiff.Encode(&b, m, &tiff.Options{Compression: tiff.Deflate})
	}
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func near(a color.Color, r, g, b int) bool {
	x, y, z, _ := a.RGBA()
	off := func(have uint32, want int) bool { d := int(have>>8) - want; return d > 24 || d < -24 }
	return !off(x, r) && !off(y, g) && !off(z, b)
}

// A small picture shows what the photo does, upright as the camera wrote it, with
// its longer side as long as it was asked for.
func TestSmallPictures(t *testing.T) {
	red, green, blue, gray := [3]int{200, 0, 0}, [3]int{0, 200, 0}, [3]int{0, 0, 200}, [3]int{128, 128, 128}
	// How the four quarters stand after Exif's orientation was applied (CIPA DC-008,
	// 4.6.5: where row 0 and column 0 of the stored picture are seen).
	turned := map[int][4][3]int{
		0: {red, green, blue, gray}, 1: {red, green, blue, gray}, 2: {green, red, gray, blue}, 3: {gray, blue, green, red}, 4: {blue, gray, red, green},
		5: {red, blue, green, gray}, 6: {blue, red, gray, green}, 7: {gray, green, blue, red}, 8: {green, gray, red, blue},
	}
	for _, form := range []string{"JPEG", "PNG", "TIFF"} {
		raw := encoded(t, form, corners(900, 602))
		for turn, want := range turned {
			s, err := Open(t.TempDir(), 1<<30)
			if err != nil {
				t.Fatal(err)
			}
			f, err := s.Get(t.Context(), photo(raw, turn), Strip)
			if err != nil {
				t.Fatalf("%s: %v", form, err)
			}
			m, err := jpeg.Decode(f)
			f.Close()
			if err != nil {
				t.Fatal(err)
			}
			b := m.Bounds()
			w, h := 320, 214
			if turn >= 5 {
				w, h = h, w
			}
			if b.Dx() != w || b.Dy() != h {
				t.Errorf("%s turned by %d is %v", form, turn, b)
			}
			for i, at := range []image.Point{{w / 4, h / 4}, {3 * w / 4, h / 4}, {w / 4, 3 * h / 4}, {3 * w / 4, 3 * h / 4}} {
				if !near(m.At(at.X, at.Y), want[i][0], want[i][1], want[i][2]) {
					t.Errorf("%s turned by %d: quarter %d is %v, not %v", form, turn, i, m.At(at.X, at.Y), want[i])
				}
			}
		}
	}
}

// A picture of one tone keeps it, whatever its size and the size asked for; and the
// mean of any picture stays what it was.
func TestShrinkingKeepsTheMean(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, h, most := rapid.IntRange(1, 300).Draw(t, "w"), rapid.IntRange(1, 300).Draw(t, "h"), rapid.IntRange(1, 200).Draw(t, "most")
		flat := rapid.Byte().Draw(t, "tone")
		one, any := image.NewGray(image.Rect(0, 0, w, h)), image.NewGray(image.Rect(0, 0, w, h))
		for i := range one.Pix {
			one.Pix[i] = flat
			any.Pix[i] = byte(i*7919) ^ flat
		}
		got := shrunk(one, most).(*image.Gray)
		for _, v := range got.Pix {
			if v != flat {
				t.Fatalf("%d became %d", flat, v)
			}
		}
		small := shrunk(any, most).(*image.Gray)
		if a, b := mean(any), mean(small); a-b > 1.5 || b-a > 1.5 {
			t.Fatalf("the mean was %.2f and is %.2f in %v", a, b, small.Rect)
		}
	})
}

func mean(m *image.Gray) float64 {
	sum := 0
	for _, v := range m.Pix {
		sum += int(v)
	}
	return float64(sum) / float64(len(m.Pix))
}

// A HEIC picture is decoded in a process of its own, and its small one looks as the
// module's own JPEG of it would: here only that it has its shape and is no blank.
func TestHEIC(t *testing.T) {
	dir, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/gen2brain/heic").Output()
	if err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(dir)), "testdata", "test8.heic"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := Open(t.TempDir(), 1<<30)
	if err != nil {
		t.Fatal(err)
	}
	f, err := s.Get(t.Context(), photo(raw, 6), Strip)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m, err := jpeg.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	tones := map[color.Color]bool{}
	for y := range m.Bounds().Dy() {
		for x := range m.Bounds().Dx() {
			tones[m.At(x, y)] = true
		}
	}
	if b := m.Bounds(); max(b.Dx(), b.Dy()) != 320 || len(tones) < 500 {
		t.Errorf("%v with %d tones", b, len(tones))
	}
	for name, bad := range map[string][]byte{"cut short": raw[:len(raw)/2], "nothing but its beginning": raw[:64], "noise": append(bytes.Clone(raw[:200]), make([]byte, 9000)...)} {
		if _, err := s.Get(t.Context(), photo(bad, 1), Strip); !errors.Is(err, ErrCannot) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// pngOf is the beginning of a PNG that says it is so large.
func pngOf(w, h uint32) []byte {
	b := []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x0dIHDR")
	b = binary.BigEndian.AppendUint32(b, w)
	b = binary.BigEndian.AppendUint32(b, h)
	b = append(b, 8, 2, 0, 0, 0)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[12:]))
}

// Hostile pictures are refused with a reason, and none is kept.
func TestHostilePictures(t *testing.T) {
	good := encoded(t, "JPEG", corners(640, 480))
	huge := bytes.Clone(good)
	at := bytes.Index(huge, []byte{0xff, 0xc0})
	binary.BigEndian.PutUint32(huge[at+5:], 0xffffffff)
	wide := encoded(t, "TIFF", corners(8, 8))
	wide = bytes.ReplaceAll(wide, []byte{0x00, 0x01, 0x03, 0x00, 1, 0, 0, 0, 8, 0}, []byte{0x00, 0x01, 0x03, 0x00, 1, 0, 0, 0, 0xff, 0xff})
	wide = bytes.ReplaceAll(wide, []byte{0x01, 0x01, 0x03, 0x00, 1, 0, 0, 0, 8, 0}, []byte{0x01, 0x01, 0x03, 0x00, 1, 0, 0, 0, 0xff, 0xff})
	for name, b := range map[string][]byte{
		"nothing":                     {},
		"a text":                      []byte("<svg onload=alert(1)>"),
		"a JPEG of 4 billion pixels":  huge,
		"a PNG of 4 billion pixels":   pngOf(65535, 65535),
		"a PNG of more than that":     pngOf(1<<31-1, 1<<31-1),
		"a PNG of no pixels":          pngOf(0, 0),
		"a TIFF of 4 billion pixels":  wide,
		"a JPEG cut short":            good[:len(good)/3],
		"a JPEG that only begins":     []byte("\xff\xd8\xff"),
		"a TIFF that only begins":     []byte("II*\x00\xff\xff\xff\xff"),
		"a TIFF whose parts go round": append([]byte("II*\x00\x08\x00\x00\x00"), bytes.Repeat([]byte{1, 0}, 64)...),
	} {
		dir := t.TempDir()
		s, err := Open(dir, 1<<30)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.Get(t.Context(), photo(b, 1), Large); !errors.Is(err, ErrCannot) {
			t.Errorf("%s: %v", name, err)
		}
		if left, _ := os.ReadDir(dir); len(left) != 0 {
			t.Errorf("%s: left behind: %v", name, left)
		}
	}
	// Bytes that are not those of the record are no picture of it.
	p := photo(good, 1)
	p.Digest[0] ^= 1
	s, _ := Open(t.TempDir(), 1<<30)
	if _, err := s.Get(t.Context(), p, Strip); !errors.Is(err, ErrOther) {
		t.Error(err)
	}
}

// However many ask for it, a small picture is made once; and both sizes of one
// decoding.
func TestMadeOnce(t *testing.T) {
	raw := encoded(t, "JPEG", corners(1800, 1200))
	var opened atomic.Int32
	p := photo(raw, 1)
	open := p.Open
	p.Open = func(ctx context.Context) (Source, error) { opened.Add(1); return open(ctx) }
	dir := t.TempDir()
	s, err := Open(dir, 1<<30)
	if err != nil {
		t.Fatal(err)
	}
	var wait sync.WaitGroup
	for i := range 20 {
		wait.Go(func() {
			f, err := s.Get(t.Context(), p, []Size{Strip, Large}[i%2])
			if err != nil {
				t.Error(err)
				return
			}
			f.Close()
		})
	}
	wait.Wait()
	again, err := Open(dir, 1<<30) // the program is started anew
	if err != nil {
		t.Fatal(err)
	}
	if f, err := again.Get(t.Context(), p, Large); err != nil {
		t.Error(err)
	} else {
		f.Close()
	}
	if n := opened.Load(); n != 1 {
		t.Errorf("the photo was opened %d times", n)
	}
}

// The shelf stays under its limit; what was looked at lately stays.
func TestShelfLimit(t *testing.T) {
	dir := t.TempDir()
	const limit = 40 << 10
	s, err := Open(dir, limit)
	if err != nil {
		t.Fatal(err)
	}
	get := func(i int) {
		t.Helper()
		f, err := s.Get(t.Context(), photo(encoded(t, "JPEG", corners(300+i, 200)), 1), Strip)
		if err != nil {
			t.Fatal(err)
		}
		f.Close()
	}
	for i := range 40 {
		get(i)
		get(0)
		var total int64
		left, _ := os.ReadDir(dir)
		for _, e := range left {
			info, err := e.Info()
			if err != nil {
				t.Fatal(err)
			}
			total += info.Size()
		}
		if total > limit {
			t.Fatalf("%d bytes on the shelf", total)
		}
	}
	if _, err := s.open(photo(encoded(t, "JPEG", corners(300, 200)), 1).name(Strip)); err != nil {
		t.Error("what was looked at all the time is gone")
	}
}

// Whoever stops waiting is let go at once.
func TestNobodyWaits(t *testing.T) {
	s, err := Open(t.TempDir(), 1<<30)
	if err != nil {
		t.Fatal(err)
	}
	begun, release := make(chan bool), make(chan bool)
	p := photo(encoded(t, "JPEG", corners(10, 10)), 1)
	open := p.Open
	p.Open = func(ctx context.Context) (Source, error) { close(begun); <-release; return open(ctx) }
	ctx, cancel := context.WithCancel(t.Context())
	go func() { <-begun; cancel() }()
	if _, err := s.Get(ctx, p, Strip); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
	close(release)
	if f, err := s.Get(t.Context(), p, Strip); err != nil {
		t.Error(err)
	} else {
		f.Close()
	}
}

// A small picture made, in both sizes, against decoding the same JPEG.
func BenchmarkSmallPicture(b *testing.B) {
	var limit, ours float64
	m := image.NewYCbCr(image.Rect(0, 0, 6000, 4000), image.YCbCrSubsampleRatio420)
	for i := range m.Y {
		m.Y[i] = byte(i*i>>7 + i>>4)
	}
	for i := range m.Cb {
		m.Cb[i], m.Cr[i] = byte(i>>6), byte(i>>9)
	}
	raw := encoded(b, "JPEG", m)
	for b.Loop() {
		limit += seconds(func() {
			if _, err := jpeg.Decode(bytes.NewReader(raw)); err != nil {
				b.Fatal(err)
			}
		})
		ours += seconds(func() {
			if _, err := photo(raw, 1).make(context.Background(), Strip); err != nil {
				b.Fatal(err)
			}
		})
	}
	b.ReportMetric(ours/limit, "x-decoding")
}

func seconds(f func()) float64 {
	began := time.Now()
	f()
	return time.Since(began).Seconds()
}
