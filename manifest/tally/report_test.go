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
	whole.Unfiled, whole.Waiting = reportFiles(r.Unfiled), ReportWaits(r.Waiting)
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
}

// TestNull: lists are never null in JSON, whatever is empty.
func TestNull(t *testing.T) {
	for _, files := range []map[string]string{nil, {"W/2019/n.txt": "", "W/2018/a.jpg": ""}} {
		if b := asJSON(t, read(t, Options{Folder: tree(t, files)}), "a", nil); bytes.Contains(b, []byte("null")) {
			t.Errorf("%s", b)
		}
	}
}
