package text

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"

	"linecamp/daemon"
	"linecamp/manifest/tally"
	"linecamp/manifest/walk"
)

// What was understood of a folder is on one line for each site; what was not is below.
func TestTallySays(t *testing.T) {
	rep := tally.Result{Folder: "/srv/monitoring", Found: walk.Found{Files: 7, Bytes: 14_000, Waiting: []walk.Waiting{{Path: "fresh.jpg", Reason: "changed less than a minute ago"}}},
		Sites: []tally.Site{{Site: "Windmill", Pasture: "North", Visits: []tally.Visit{
			{Date: "2018", Year: 2018, Photos: tally.PackFiles(tally.File{View: "landscape"}), Notes: tally.PackFiles(tally.File{})},
			{Date: "2019-06-21", Year: 2019, Photos: tally.PackFiles(tally.File{View: "plot"}), Notes: tally.PackFiles(tally.File{})}}}},
		Unfiled: tally.PackFiles(tally.File{Path: "a.txt"}, tally.File{Path: "b.txt"})}
	var b strings.Builder
	Print(&b, daemon.TallyReport{Result: rep, Archive: "saltbush-draw"})
	for _, want := range []string{"saltbush-draw: 7 files, 14 kB in /srv/monitoring", "North / Windmill  2018–2019  2 visits, 2 photos, 2 notes; landscape 1, plot 1",
		"2 files with no site of their own", "Not recorded yet", "fresh.jpg: changed less than a minute ago"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("%q is not in\n%s", want, &b)
		}
	}
	b.Reset()
	Print(&b, daemon.TallyReport{Archive: "a", Result: tally.Result{Folder: "/srv"}})
	if !strings.Contains(b.String(), "Nothing is in your folder yet") {
		t.Errorf("of an empty one: %s", &b)
	}
}

// TestPrintFits: 30 sites over 25 years, all well, are less than a screen.
func TestPrintFits(t *testing.T) {
	rep := tally.Result{Folder: "/srv/monitoring", Found: walk.Found{Files: 2250}}
	for i := range 30 {
		s := tally.Site{Site: fmt.Sprintf("Stake %d", i), Pasture: "North"}
		for y := range 25 {
			s.Visits = append(s.Visits, tally.Visit{Date: fmt.Sprint(2001 + y), Year: 2001 + y,
				Photos: tally.PackFiles(tally.File{View: "plot"}, tally.File{View: "landscape"}), Notes: tally.PackFiles(tally.File{})})
		}
		rep.Sites = append(rep.Sites, s)
	}
	var b bytes.Buffer
	Print(&b, daemon.TallyReport{Result: rep, Archive: "saltbush-draw"})
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

// TestPrintIsSafe: names cannot move the cursor or color the terminal.
func TestPrintIsSafe(t *testing.T) {
	bad := "a\x1b[31m\nb\r\xff"
	rep := tally.Result{Folder: bad, Sites: []tally.Site{{Site: bad, Visits: []tally.Visit{{Year: 2019, Photos: tally.PackFiles(tally.File{View: bad})}}}},
		Unfiled: tally.PackFiles(tally.File{Path: bad}), Found: walk.Found{Waiting: []walk.Waiting{{Path: bad, Reason: "reason"}}}}
	var b bytes.Buffer
	Print(&b, daemon.TallyReport{Result: rep, Archive: bad})
	if strings.ContainsAny(b.String(), "\x1b\r") || strings.Contains(b.String(), "\nb") || !utf8.Valid(b.Bytes()) {
		t.Errorf("%q", b.String())
	}
}
