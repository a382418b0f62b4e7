package intake

import (
	"bytes"
	"encoding/base64"
	"encoding/xml"
	"image/jpeg"
	"io"
	"regexp"
	"strings"
	"testing"
)

// TestSheet: a hostile name is only text on the page, nothing is fetched, and
// the small pictures are JPEGs.
func TestSheet(t *testing.T) {
	var small bytes.Buffer
	if err := jpeg.Encode(&small, upright(shrunkTest(), 6), nil); err != nil {
		t.Fatal(err)
	}
	away := 3.0
	p := &Plan{Card: `<script>alert(1)</script>`, Visits: []Visit{{Number: 1, Site: `"><img src=x>`, Date: "2026-06-24", By: ByPosition, Meters: &away,
		Files: []File{{From: `IMG"'<b>.JPG`, To: "a/b.jpg", View: "plot", ViewBy: ByContent, thumb: small.Bytes()}, {From: "IMG_2.HEIC", View: "untold"}}}},
		Left: []Left{{"film.mp4", 7, "not a photo or a note"}}}
	var page bytes.Buffer
	if err := p.Sheet(&page); err != nil {
		t.Fatal(err)
	}
	s := page.String()
	for _, bad := range []string{"<script", "<img src=x", "<b>", "http:", "https:"} {
		if strings.Contains(s, bad) {
			t.Errorf("%q is on the page", bad)
		}
	}
	for _, want := range []string{"by position, 3 m from the site", "view not known", "no small picture", "film.mp4", "7 bytes", "a/<wbr/>b.jpg",
		`alt="plot of &#34;&gt;&lt;img src=x&gt;, 2026-06-24 (IMG&#34;&#39;&lt;b&gt;.JPG)"`, "1 visit; 0 files would be filed"} {
		if !strings.Contains(s, want) {
			t.Errorf("%q is not on the page", want)
		}
	}
	pictures := regexp.MustCompile(`src="data:image/jpeg;base64,([^"]*)"`).FindAllStringSubmatch(s, -1)
	if len(pictures) != 1 {
		t.Fatalf("%d pictures", len(pictures))
	}
	raw, err := base64.StdEncoding.DecodeString(strings.ReplaceAll(pictures[0][1], "&#43;", "+"))
	if err != nil {
		t.Fatal(err)
	}
	m, err := jpeg.Decode(bytes.NewReader(raw))
	if err != nil || m.Bounds().Dx() != 48 || m.Bounds().Dy() != 64 {
		t.Errorf("%v, %v", m.Bounds(), err)
	}
	// Its tags nest: read as XML, with HTML's void elements closed by themselves.
	d := xml.NewDecoder(&page)
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	for {
		if _, err := d.Token(); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
}
