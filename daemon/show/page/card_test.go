package page

import (
	"encoding/binary"
	"html"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// taken gives a JPEG the day it was taken and the place (CIPA DC-008, 4.5 and 4.6).
func taken(t *testing.T, name, day string, lat, lon uint32) {
	t.Helper()
	raw, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	be := binary.BigEndian
	tiff := []byte("MM\x00*\x00\x00\x00\x08")
	entry := func(tag, kind uint16, n, value uint32) {
		tiff = be.AppendUint16(be.AppendUint16(tiff, tag), kind)
		tiff = be.AppendUint32(be.AppendUint32(tiff, n), value)
	}
	end := func() { tiff = be.AppendUint32(tiff, 0) }
	tiff = be.AppendUint16(tiff, 2) // at 8
	entry(0x8769, 4, 1, 38)
	entry(0x8825, 4, 1, 56)
	end()
	tiff = be.AppendUint16(tiff, 1) // at 38
	entry(0x9003, 2, 20, 110)
	end()
	tiff = be.AppendUint16(tiff, 4) // at 56
	entry(1, 2, 2, 'N'<<24)
	entry(2, 5, 3, 130)
	entry(3, 2, 2, 'W'<<24)
	entry(4, 5, 3, 154)
	end()
	tiff = append(tiff, day+" 10:00:00\x00"...) // at 110
	for _, degrees := range []uint32{lat, lon} {
		for _, n := range []uint32{degrees, 10000, 0, 1, 0, 1} {
			tiff = be.AppendUint32(tiff, n)
		}
	}
	head := be.AppendUint16([]byte("\xff\xd8\xff\xe1"), uint16(len(tiff)+8))
	raw = append(append(append(head, "Exif\x00\x00"...), tiff...), raw[2:]...)
	if err := os.WriteFile(name, raw, 0o666); err != nil {
		t.Fatal(err)
	}
}

// A camera card is looked through on the page: nothing is read before it is asked for,
// what would be filed is shown with small pictures, and only what was looked at and is
// still so is filed, by the command's own rules.
func TestACameraCardIsLookedThroughAndFiled(t *testing.T) {
	draw := stakes(2, 2020, 2024)
	draw["North Flat/Stake 1/site.toml"] = "latitude = 41.1234\nlongitude = -107.5432\n"
	w := newWorld(t, map[string]archive{"draw": draw, "other": stakes(1, 2024, 2024)})
	folder, card := filepath.Join(w.dir, "draw", "folder"), filepath.Join(w.dir, "CAMERA")
	photo := func(name, day string, lat uint32) {
		p := filepath.Join(card, "DCIM", name)
		w.write(p, name)
		taken(t, p, day, lat, 1075432)
	}
	photo("IMG_1.jpg", "2025:06:21", 411234)
	photo("IMG_<b>2.jpg", "2025:06:21", 411234)
	photo("IMG_3.jpg", "2025:06:23", 420000) // far from every site

	if body := w.page("/a/draw/card"); strings.Contains(body, "would be filed from") || strings.Contains(body, "<img") {
		t.Errorf("a plan is shown before it was asked for:\n%s", body)
	}
	look := func(v url.Values) string {
		v.Set("do", "card")
		_, body := w.post("/a/draw/work", v)
		return html.UnescapeString(body)
	}
	for _, bad := range []url.Values{{}, {"folder": {"CAMERA"}}, {"folder": {card}, "visit": {"x"}}, {"folder": {card}, "seen": {"y"}}} {
		bad.Set("do", "card")
		if r, _ := w.post("/a/draw/work", bad); r.StatusCode != 400 {
			t.Errorf("%v: %s", bad, r.Status)
		}
	}
	for _, bad := range []string{card + "/none", folder, filepath.Join(card, "DCIM", "IMG_1.jpg")} {
		look(url.Values{"folder": {bad}})
		if body := w.page("/a/draw/card"); strings.Contains(body, "would be filed from") {
			t.Errorf("%s was looked through:\n%s", bad, body)
		}
	}
	if body := look(url.Values{"folder": {card}}); !strings.Contains(body, "/a/draw/card") || !strings.Contains(body, "intake "+card) && !strings.Contains(body, "intake '"+card) {
		t.Errorf("the job says:\n%s", body)
	}
	body := w.page("/a/draw/card")
	pictures := regexp.MustCompile(`<img src="([^"]+/card/[^"]+)" alt="([^"]*)"`).FindAllStringSubmatch(body, -1)
	if len(pictures) != 3 || !strings.Contains(body, "2 files would be filed") || !strings.Contains(body, "to North Flat/Stake 1/2025-06-21/") || strings.Contains(body, "<b>2") {
		t.Fatalf("%d pictures:\n%s", len(pictures), body)
	}
	for _, p := range pictures {
		at := strings.TrimPrefix(p[1], w.server.gate.Door())
		if r, got := w.get(at); r.StatusCode != 200 || !strings.HasPrefix(got, "\xff\xd8") || r.Header.Get("Content-Type") != "image/jpeg" {
			t.Errorf("%s: %s", at, r.Status)
		}
		if r, _ := w.get(strings.Replace(at, "/draw/", "/other/", 1)); r.StatusCode != 404 {
			t.Errorf("another archive's page shows %s: %s", at, r.Status)
		}
	}
	seen := regexp.MustCompile(`name="seen" value="([^"]+)"`).FindStringSubmatch(body)[1]
	ticked := regexp.MustCompile(`name="visit" value="(\d+)"`).FindAllStringSubmatch(body, -1)
	if len(ticked) != 1 {
		t.Fatalf("%d visits can be ticked:\n%s", len(ticked), body)
	}
	file := func(seen string) string {
		return look(url.Values{"folder": {card}, "seen": {seen}, "visit": {ticked[0][1]}})
	}
	filed := func() int {
		all, _ := filepath.Glob(filepath.Join(folder, "North Flat", "Stake 1", "2025-06-21", "*.jpg"))
		return len(all)
	}
	if body := file(strings.Repeat("0", len(seen))); !strings.Contains(body, "not the one you looked at") || filed() != 0 {
		t.Errorf("another plan was filed:\n%s", body)
	}
	photo("IMG_1.jpg", "2025:06:21", 411235)
	w.write(filepath.Join(card, "DCIM", "IMG_1.jpg"), "swapped")
	if body := file(seen); filed() != 0 {
		t.Errorf("a card that changed was filed:\n%s", body)
	}
	photo("IMG_1.jpg", "2025:06:21", 411234)
	look(url.Values{"folder": {card}})
	body = w.page("/a/draw/card")
	seen = regexp.MustCompile(`name="seen" value="([^"]+)"`).FindStringSubmatch(body)[1]
	ticked = regexp.MustCompile(`name="visit" value="(\d+)"`).FindAllStringSubmatch(body, -1)
	if body := file(seen); filed() != 2 || !strings.Contains(body, "Filed 2 files") || !strings.Contains(body, "--visit "+ticked[0][1]+" --yes") {
		t.Errorf("%d were filed:\n%s", filed(), body)
	}
	if body := w.page("/a/draw/card"); strings.Contains(body, "would be filed from") {
		t.Error("the plan is still shown")
	}
}
