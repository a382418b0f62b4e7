package tally

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"unicode/utf8"

	"linecamp/manifest/walk"
)

// asJSON is a result as WriteJSON writes it, which is how the encoder writes a Report
// that is held whole.
func asJSON(t *testing.T, r *Result, archive string, id func(*Site) string) []byte {
	t.Helper()
	whole := r.Outline(archive)
	frame := whole
	for i := range r.Sites {
		whole.Sites = append(whole.Sites, r.Sites[i].report(id))
	}
	whole.Unfiled, whole.Waiting = reportFiles(r.Unfiled), reportWaits(r.Waiting)
	var got, want bytes.Buffer
	e := json.NewEncoder(&want)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := errors.Join(r.WriteJSON(&got, frame, id), e.Encode(whole)); err != nil {
		t.Fatal(err)
	}
	if got.String() != want.String() {
		t.Errorf("piece by piece:\n%swhole:\n%s", got.String(), want.String())
	}
	return got.Bytes()
}

// A name that reads like a list of the report is a name; and what is larger than one
// write comes in whole characters.
func TestReportInPieces(t *testing.T) {
	files := map[string]string{}
	for i := range 1200 {
		files[fmt.Sprintf("loose é %d é.txt", i)] = ""
		files[fmt.Sprintf("W/2019/%d é\n  \"unfiled\": [].jpg", i)] = ""
	}
	r := read(t, Options{Folder: tree(t, files), Layout: "{site}/{year}"})
	r.Folder = "\n  \"sites\": []"
	asJSON(t, r, "\"sites\": []", nil)
	pieces := 0
	err := r.WriteJSON(writerFunc(func(b []byte) (int, error) {
		if pieces++; !utf8.Valid(b) {
			t.Errorf("half a character in %q", b)
		}
		return len(b), nil
	}), r.Outline("a"), nil)
	if err != nil || pieces < 3 {
		t.Errorf("%d pieces, %v", pieces, err)
	}
	if err := r.WriteJSON(io.Discard, struct{}{}, nil); err == nil {
		t.Error("a frame without the lists is taken")
	}
}

type writerFunc func([]byte) (int, error)

func (f writerFunc) Write(b []byte) (int, error) { return f(b) }

func TestReport(t *testing.T) {
	root := tree(t, map[string]string{
		"North/Windmill/2019-06-21/plot.jpg": "", "North/Windmill/2019-06-21/notes.txt": "", "North/Windmill/2018/landscape.jpg": "",
		"North/Windmill/site.toml": "", "North/2019 notes.pdf": "", "loose.txt": "", "Caf\xe9/2019/a\nb.jpg": "", "fresh.jpg": "", "Thumbs.db": "",
	})
	touch(t, root, "fresh.jpg", today)
	r := read(t, Options{Folder: root})
	b := asJSON(t, r, "saltbush-draw", func(s *Site) string { return "id of " + s.Site })
	// The keys other programs rely on.
	var got struct {
		Archive, Folder string
		Files           int
		Bytes           int64
		Sites           []struct {
			ID, Site, Pasture, Folder string
			Visits                    []struct {
				Date   string
				Year   int
				Photos []struct {
					Path, View string
					Bytes      int64
				}
				Notes []struct {
					Path  string
					Bytes int64
				}
			}
		}
		Unfiled []struct {
			Path  string
			Bytes int64
		}
		Waiting []struct{ Path, Reason string }
		Litter  int
	}
	if err := json.Unmarshal(b, &got); err != nil {
		t.Fatal(err)
	}
	if got.Archive != "saltbush-draw" || got.Folder != root || got.Files != 7 || got.Litter != 1 || len(got.Sites) != 2 {
		t.Fatalf("%s", b)
	}
	w := got.Sites[1]
	if w.ID != "id of Windmill" || w.Site != "Windmill" || w.Pasture != "North" || w.Folder != "North/Windmill" || len(w.Visits) != 2 {
		t.Errorf("%+v", w)
	}
	v := w.Visits[1]
	if v.Date != "2019-06-21" || v.Year != 2019 || len(v.Photos) != 1 || len(v.Notes) != 1 ||
		v.Photos[0].Path != "North/Windmill/2019-06-21/plot.jpg" || v.Photos[0].View != "plot" || v.Photos[0].Bytes == 0 {
		t.Errorf("%+v", v)
	}
	if len(got.Unfiled) != 2 || len(got.Waiting) != 1 || got.Waiting[0].Path != "fresh.jpg" || got.Waiting[0].Reason == "" {
		t.Errorf("%s", b)
	}
	if c := got.Sites[0]; !strings.HasPrefix(c.Folder, "Caf\uFFFD") || !utf8.Valid(b) {
		t.Errorf("a name that is no text: %+v", c)
	}
	var text bytes.Buffer
	if err := r.Print(&text, "saltbush-draw"); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"saltbush-draw: 7 files", "North / Windmill  2018–2019  2 visits, 2 photos, 2 notes; landscape 1, plot 1",
		"2 files with no site of their own", "Not recorded yet", "fresh.jpg: it changed less than a minute ago"} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("%q is not in\n%s", want, text.String())
		}
	}
}

// TestNull: lists are never null in JSON, whatever is empty.
func TestNull(t *testing.T) {
	for _, files := range []map[string]string{nil, {"W/2019/n.txt": "", "W/2018/a.jpg": ""}} {
		if b := asJSON(t, read(t, Options{Folder: tree(t, files)}), "a", nil); bytes.Contains(b, []byte("null")) {
			t.Errorf("%s", b)
		}
	}
}

// TestPrintFits: 30 sites over 25 years, all well, are less than a screen.
func TestPrintFits(t *testing.T) {
	rep := Result{Folder: "/srv/monitoring", Found: walk.Found{Files: 2250}}
	for i := range 30 {
		s := Site{Site: fmt.Sprintf("Stake %d", i), Pasture: "North"}
		for y := range 25 {
			s.Visits = append(s.Visits, Visit{Date: fmt.Sprint(2001 + y), Year: 2001 + y,
				Photos: PackFiles(File{View: "plot"}, File{View: "landscape"}), Notes: PackFiles(File{})})
		}
		rep.Sites = append(rep.Sites, s)
	}
	var b bytes.Buffer
	if err := rep.Print(&b, "saltbush-draw"); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(b.String(), "\n")
	if len(lines) > 40 {
		t.Errorf("%d lines", len(lines))
	}
	for _, l := range lines {
		if utf8.RuneCountInString(l) > 100 {
			t.Errorf("a line of %d: %s", utf8.RuneCountInString(l), l)
		}
	}
}

// TestPrintIsSafe: names cannot move the cursor or colour the terminal.
func TestPrintIsSafe(t *testing.T) {
	bad := "a\x1b[31m\nb\r\xff"
	rep := Result{Folder: bad, Sites: []Site{{Site: bad, Visits: []Visit{{Year: 2019, Photos: PackFiles(File{View: bad})}}}},
		Unfiled: PackFiles(File{Path: bad}), Found: walk.Found{Waiting: []walk.Waiting{{Path: bad, Reason: "reason"}}}}
	var b bytes.Buffer
	if err := rep.Print(&b, bad); err != nil {
		t.Fatal(err)
	}
	if strings.ContainsAny(b.String(), "\x1b\r") || strings.Contains(b.String(), "\nb") || !utf8.Valid(b.Bytes()) {
		t.Errorf("%q", b.String())
	}
}

func TestSize(t *testing.T) {
	for n, want := range map[int64]string{0: "0 bytes", 999: "999 bytes", 1000: "1.0 kB", 9949: "9.9 kB", 9950: "10 kB", 999_499: "999 kB",
		999_500: "1.0 MB", 3_000_000_000: "3.0 GB"} {
		if got := size(n); got != want {
			t.Errorf("size(%d) = %q, want %q", n, got, want)
		}
	}
}
