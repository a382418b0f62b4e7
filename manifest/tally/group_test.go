package tally

import (
	"testing"

	"linecamp/manifest"
)

func TestPictures(t *testing.T) {
	root := tree(t, map[string]string{
		"W/2019/IMG_0001.JPG": june21, "W/2019/IMG_0001.NEF": "", "W/2019/IMG_0001.xmp": "", "W/2019/IMG_0001.JPG.xmp": "",
		"W/2019/plot.heic": "", "W/2019/plot.jpeg": "", "W/2019/PLOT.AAE": "", "W/2019/plot.MOV": "",
		"W/2019/lone.cr2": "", "W/2019/lone.xmp": "", "W/2019/orphan.xmp": "",
		"W/2019/film.mov": "", "W/2019/scan.tif": "", "W/2019/scan.jpg": "",
		"W/2019/same.png": june21, "W/2019/same.jpg": june21,
		"W/2019/two.heic": june21, "W/2019/two.jpg": oct02,
		"W/2019/raw/IMG_0001.DNG": june21, "W/2019/raw/IMG_0009.DNG": june21,
		"W/2019/field notes.jpg": "", "W/2019/track.gpx": "", "W/2019/data sheet.png": "",
		"W/2019/notes.pdf": "", "W/2019/notes.xmp": "", "W/2019/~$notes.docx": "", "W/2019/extensionless": "",
	})
	type is struct {
		kind manifest.Kind
		with string
	}
	want := map[string]is{
		"W/2019/IMG_0001.JPG":     {manifest.KindPhoto, ""},
		"W/2019/IMG_0001.NEF":     {manifest.KindCompanion, "W/2019/IMG_0001.JPG"},
		"W/2019/IMG_0001.xmp":     {manifest.KindCompanion, "W/2019/IMG_0001.JPG"},
		"W/2019/IMG_0001.JPG.xmp": {manifest.KindCompanion, "W/2019/IMG_0001.JPG"},
		"W/2019/plot.jpeg":        {manifest.KindPhoto, ""},
		"W/2019/plot.heic":        {manifest.KindCompanion, "W/2019/plot.jpeg"},
		"W/2019/PLOT.AAE":         {manifest.KindCompanion, "W/2019/plot.jpeg"},
		"W/2019/plot.MOV":         {manifest.KindCompanion, "W/2019/plot.jpeg"},
		"W/2019/lone.cr2":         {manifest.KindPhoto, ""},
		"W/2019/lone.xmp":         {manifest.KindCompanion, "W/2019/lone.cr2"},
		"W/2019/orphan.xmp":       {manifest.KindCompanion, ""},
		"W/2019/film.mov":         {manifest.KindOther, ""},
		"W/2019/scan.jpg":         {manifest.KindPhoto, ""},
		"W/2019/scan.tif":         {manifest.KindPhoto, ""}, // no times: perhaps two scans
		"W/2019/same.jpg":         {manifest.KindPhoto, ""},
		"W/2019/same.png":         {manifest.KindCompanion, "W/2019/same.jpg"},
		"W/2019/two.jpg":          {manifest.KindPhoto, ""},
		"W/2019/two.heic":         {manifest.KindPhoto, ""}, // times differ: two pictures
		"W/2019/raw/IMG_0001.DNG": {manifest.KindCompanion, "W/2019/IMG_0001.JPG"},
		"W/2019/raw/IMG_0009.DNG": {manifest.KindPhoto, ""},
		"W/2019/field notes.jpg":  {manifest.KindNote, ""},
		"W/2019/data sheet.png":   {manifest.KindNote, ""},
		"W/2019/track.gpx":        {manifest.KindCard, ""},
		"W/2019/notes.pdf":        {manifest.KindNote, ""},
		"W/2019/notes.xmp":        {manifest.KindCompanion, "W/2019/notes.pdf"},
		"W/2019/~$notes.docx":     {manifest.KindOther, ""},
		"W/2019/extensionless":    {manifest.KindOther, ""},
	}
	r := read(t, Options{Folder: root})
	for i := range r.Sites {
		for f := range r.Sites[i].Files() {
			if got := (is{f.Kind, f.With}); got != want[f.Path] {
				t.Errorf("%s is %v, want %v", f.Path, got, want[f.Path])
			}
			if f.Kind == manifest.KindCompanion && f.Path == "W/2019/plot.heic" && f.View != "plot" {
				t.Errorf("a companion's view is %q, not its photo's", f.View)
			}
			delete(want, f.Path)
		}
	}
	for p := range want {
		t.Errorf("%s is nowhere", p)
	}
}

// TestCompanionGoesWithItsPhoto: also where a pattern would read another site out
// of the companion's own name.
func TestCompanionGoesWithItsPhoto(t *testing.T) {
	got := where(read(t, Options{Folder: tree(t, map[string]string{
		"2019 Windmill.jpg": june21, "2019 Windmill.jpg.xmp": "", "2019 Windmill.jpg.png": "",
	}), Layout: "{date} {site}.*"}))
	for path, want := range map[string]string{
		"2019 Windmill.jpg": "/Windmill@2019-06-21", "2019 Windmill.jpg.xmp": "/Windmill@2019-06-21",
		"2019 Windmill.jpg.png": "/Windmill.jpg@2019",
	} {
		if !equal(got[path], []string{want}) {
			t.Errorf("%s: %v, want %s", path, got[path], want)
		}
	}
}
