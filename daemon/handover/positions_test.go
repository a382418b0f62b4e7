package handover

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/draw"
	_ "image/jpeg"
	_ "image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// exiftool's word on the positions in some files, by file name.
func positions(t *testing.T, files []string) map[string][]string {
	t.Helper()
	// -ee looks into pictures within pictures, -a tells every tag of a name.
	out, _ := exec.Command("exiftool", append([]string{"-json", "-q", "-m", "-ee", "-a", "-G1", "-GPS*", "-XMP:Location*"}, files...)...).Output()
	var told []map[string]any
	if err := json.Unmarshal(out, &told); err != nil {
		t.Fatal(err)
	}
	found := map[string][]string{}
	for _, p := range told {
		name := p["SourceFile"].(string)
		for tag := range p {
			if strings.Contains(tag, "Latitude") || strings.Contains(tag, "Longitude") || strings.Contains(tag, "Position") {
				found[name] = append(found[name], tag)
			}
		}
	}
	return found
}

// TestPositionsAgainstExiftool blanks real pictures and asks an independent
// reader, exiftool (Debian's libimage-exiftool-perl), whether one still tells
// where it was taken. The pictures are those that the module
// github.com/bep/imagemeta, pinned in go.mod, brings for its own tests. None is
// copied here. A picture that decoded before decodes to the same after.
func TestPositionsAgainstExiftool(t *testing.T) {
	if _, err := exec.LookPath("exiftool"); err != nil {
		t.Skip("exiftool is not here (Debian's libimage-exiftool-perl)")
	}
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/bep/imagemeta").Output()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	var files []string
	of, before := map[string]string{}, map[string][]byte{}
	err = filepath.WalkDir(filepath.Join(strings.TrimSpace(string(out)), "testdata", "images"), func(name string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || !picture(name) {
			return err
		}
		b, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		at := filepath.Join(dir, fmt.Sprint(len(files))+filepath.Ext(name))
		files = append(files, at)
		of[at], before[at] = name, b
		return os.WriteFile(at, b, 0o666)
	})
	if err != nil || len(files) < 60 {
		t.Fatalf("only %d pictures, %v", len(files), err)
	}
	told := positions(t, files)
	if len(told) < 10 {
		t.Fatalf("only %d of the pictures tell a position; nothing is shown by that", len(told))
	}
	unsure := 0
	for at, b := range before {
		after := bytes.Clone(b)
		changed, sure := blankPositions(after)
		if len(after) != len(b) || changed == bytes.Equal(after, b) && !isPNG(b) {
			t.Errorf("%s: changed is %v, and the bytes say otherwise", of[at], changed)
		}
		if !sure {
			unsure++
			os.Remove(at)
			continue
		}
		was, _, err1 := image.Decode(bytes.NewReader(b))
		is, _, err2 := image.Decode(bytes.NewReader(after))
		if (err1 == nil) != (err2 == nil) && !isPNG(b) || err1 == nil && !same(was, is) {
			t.Errorf("%s no longer decodes to the same picture: %v, %v", of[at], err1, err2)
		}
		if err := os.WriteFile(at, after, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	var left []string
	for _, at := range files {
		if _, err := os.Lstat(at); err == nil {
			left = append(left, at)
		}
	}
	for at, tags := range positions(t, left) {
		t.Errorf("%s still tells its position: %v", of[at], tags)
	}
	t.Logf("%d pictures, %d with a position; %d are not handed over because it cannot be told", len(files), len(told), unsure)
}

func same(a, b image.Image) bool {
	if b == nil || a.Bounds() != b.Bounds() {
		return false
	}
	x, y := image.NewRGBA(a.Bounds()), image.NewRGBA(a.Bounds())
	draw.Draw(x, x.Rect, a, a.Bounds().Min, draw.Src)
	draw.Draw(y, y.Rect, b, b.Bounds().Min, draw.Src)
	return bytes.Equal(x.Pix, y.Pix)
}

// Whatever bytes come, blanking keeps their number and ends.
func FuzzBlankPositions(f *testing.F) {
	f.Add([]byte("II*\x00\x08\x00\x00\x00\x01\x00\x25\x88\x04\x00\x01\x00\x00\x00\x1a\x00\x00\x00\x00\x00\x00\x00\x01\x00\x02\x00\x05\x00\x03\x00\x00\x00\x2c\x00\x00\x00\x00\x00\x00\x00abcdefghijklmnopqrstuvwx"))
	f.Add([]byte(pngMark + "\x00\x00\x00\x00IEND\xae\x42\x60\x82"))
	f.Fuzz(func(t *testing.T, b []byte) {
		n := len(b)
		blankPositions(b)
		again := bytes.Clone(b)
		if changed, _ := blankPositions(again); changed || !bytes.Equal(again, b) || len(b) != n {
			t.Errorf("a second time changed %v, %d bytes of %d", changed, len(b), n)
		}
	})
}
