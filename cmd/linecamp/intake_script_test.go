package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	picture "linecamp/cmd/ranchdemo/ranch"
)

func init() {
	commands["snap"] = snap
	commands["track"] = track
}

// snapped is the ranch that snap takes its pictures of: drawn, with date and
// position in them.
var snapped = picture.New(7, time.Date(2025, 12, 31, 0, 0, 0, 0, time.UTC))

// snap FILE SITE YEAR VIEW [nowhere] takes a picture on the practice ranch:
// VIEW is plot or landscape, and with "nowhere" the camera knew no position.
func snap(ts *testscript.TestScript, neg bool, args []string) {
	year, err := strconv.Atoi(args[2])
	ts.Check(err)
	v := snapped.Visit(args[1], year)
	if v == nil {
		ts.Fatalf("nobody visited %s in %d", args[1], year)
	}
	b, err := snapped.Picture(v, args[3])
	ts.Check(err)
	if len(args) > 4 {
		// The pointer to the positions (tag 0x8825, CIPA DC-008, 4.6.3)
		// becomes a tag that means nothing.
		was := []byte{0x25, 0x88, 4, 0, 1, 0, 0, 0}
		at := bytes.Index(b, was)
		if at < 0 {
			ts.Fatalf("no position to take out")
		}
		b[at], b[at+1] = 0xFE, 0xFF
	}
	path := ts.MkAbs(args[0])
	ts.Check(os.MkdirAll(filepath.Dir(path), 0o755))
	write(ts, path, b)
}

// track FILE SITE YEAR HOURS writes a GPX track of somebody who stood at SITE
// for twenty minutes about the time of that year's visit, HOURS later.
func track(ts *testscript.TestScript, neg bool, args []string) {
	year, err := strconv.Atoi(args[2])
	ts.Check(err)
	late, err := strconv.Atoi(args[3])
	ts.Check(err)
	v := snapped.Visit(args[1], year)
	b := []byte(`<gpx version="1.1" creator="hand" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>`)
	for _, minutes := range []int{-10, 10} {
		at := v.Time.Add(time.Duration(late)*time.Hour + time.Duration(minutes)*time.Minute)
		b = fmt.Appendf(b, `<trkpt lat="%.6f" lon="%.6f"><time>%s</time></trkpt>`, v.Site.Latitude, v.Site.Longitude, at.UTC().Format(time.RFC3339))
	}
	write(ts, ts.MkAbs(args[0]), append(b, "</trkseg></trk></gpx>"...))
}
