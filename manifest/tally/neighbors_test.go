package tally

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"linecamp/manifest/layout"
	"linecamp/manifest/names"
	"linecamp/manifest/walk"
)

const (
	june21 = "2019:06:21 10:11:12"
	june22 = "2019:06:22 08:00:00"
	oct02  = "2019:10:02 10:11:12"
)

// Each tree shows one thing that neighbors settle; a file is mapped to where
// it belongs. A date behind "=" is the photo's EXIF date.
func TestNeighbours(t *testing.T) {
	for _, c := range []struct {
		name string
		exif map[string]string
		want map[string]string
	}{
		{"notes beside a site's dates are the site's, above it the pasture's", nil, map[string]string{
			"North/Windmill/2019-06-21/a.jpg":  "North/Windmill@2019-06-21",
			"North/Windmill/2019-06-21/n.txt":  "North/Windmill@2019-06-21",
			"North/Windmill/site.toml":         "North/Windmill@",
			"North/Windmill/2019 notes.txt":    "North/Windmill@2019-06-21",
			"North/Windmill/2001-2015.pdf":     "North/Windmill@",
			"North/2019 field notes.pdf":       "unfiled",
			"North/2019/field notes.pdf":       "unfiled",
			"North/pasture.toml":               "unfiled",
			"2019 field notes.pdf":             "unfiled",
			"Office/2019/taxes.pdf":            "unfiled",
			"North/Windmill/2018/only note.md": "North/Windmill@2018",
		}},
		{"a dated photo in a pasture's folder makes it no site", nil, map[string]string{
			"North/2019-06-21 overview.jpg": "unfiled",
			"North/Windmill/2019/a.jpg":     "North/Windmill@2019",
		}},
		{"flat folders", nil, map[string]string{
			"North/Windmill/2019-06-21 plot.jpg":  "North/Windmill@2019-06-21",
			"North/Windmill/2019-06-21 notes.txt": "North/Windmill@2019-06-21",
			"North/Windmill/notes.txt":            "North/Windmill@",
			"Creek/20190621_plot.JPG":             "/Creek@2019-06-21",
		}},
		{"with no date in any name the camera's makes a site of the second level", map[string]string{
			"North/Windmill/IMG_0001.JPG": june21, "North/overview.jpg": june21, "Misc/IMG_0001.JPG": june21,
		}, map[string]string{
			"North/Windmill/IMG_0001.JPG": "North/Windmill@2019-06-21",
			"North/Windmill/scan.jpg":     "North/Windmill@",
			"North/overview.jpg":          "unfiled",
			"Misc/IMG_0001.JPG":           "unfiled",
			"Office/Bills/bill.pdf":       "unfiled",
			"Office/Bills/logo.png":       "unfiled",
		}},
		{"one level is enough where sites stand beside it", map[string]string{
			"Creek/100ABCDE/IMG_0001.JPG": june21,
		}, map[string]string{
			"Creek/100ABCDE/IMG_0001.JPG": "/Creek@2019-06-21",
			"Windmill/2019/a.jpg":         "/Windmill@2019",
		}},
		{"photos without a date in the path go to the site above", map[string]string{
			"North/Windmill/old prints/a.jpg": "1987:07:01 00:00:00",
		}, map[string]string{
			"North/Windmill/2019/a.jpg":       "North/Windmill@2019",
			"North/Windmill/old prints/a.jpg": "North/Windmill@1987-07-01",
			"North/Windmill/old prints/b.jpg": "North/Windmill@",
		}},
		{"a date is no name of a site", map[string]string{"Windmill 2019/a.jpg": june21, "North/Windmill 2019/a.jpg": june21}, map[string]string{
			"Windmill 2019/a.jpg":       "unfiled",
			"North/Windmill 2019/a.jpg": "unfiled",
		}},
		{"year above", nil, map[string]string{
			"2019/North/Windmill/a.jpg":        "North/Windmill@2019",
			"2019/North/Windmill/raw/note.txt": "North/Windmill@2019",
			"2019/North/notes.pdf":             "unfiled",
			"2019/notes.pdf":                   "unfiled",
			"2020/North/Windmill/b.jpg":        "North/Windmill@2020",
			"2021/North/Windmill/note.txt":     "North/Windmill@2021",
		}},
		{"two layouts, one site", nil, map[string]string{
			"North/Windmill/2018/a.jpg": "North/Windmill@2018",
			"2019/North/Windmill/a.jpg": "North/Windmill@2019",
		}},
		{"a site.toml makes a site", nil, map[string]string{
			"North/Windmill/site.toml":  "North/Windmill@",
			"North/Windmill/README.txt": "North/Windmill@",
		}},
		{"sites in a site's folder", nil, map[string]string{
			"Windmill/2019/a.jpg":         "/Windmill@2019",
			"Windmill/Stake 2/2019/a.jpg": "Windmill/Stake 2@2019",
			"Windmill/Stake 2/notes.txt":  "Windmill/Stake 2@",
			"Windmill/notes.txt":          "/Windmill@",
		}},
		{"the camera fills in days, names outrank it", map[string]string{
			"W/2019/a.jpg": june21, "W/2018/b.jpg": june21, "W/2017-05-05/c.jpg": june21, "W/2019-10-02 d.jpg": june21, "W/2016-06/e.jpg": june21,
		}, map[string]string{
			"W/2019/a.jpg":       "/W@2019-06-21",
			"W/2018/b.jpg":       "/W@2018",
			"W/2017-05-05/c.jpg": "/W@2017-05-05",
			"W/2019-10-02 d.jpg": "/W@2019-10-02",
			"W/2016-06/e.jpg":    "/W@2016",
		}},
		{"adjacent days that only the camera tells apart are one visit", map[string]string{
			"W/2019/a.jpg": june21, "W/2019/b.jpg": june22, "W/2019/c.jpg": oct02,
		}, map[string]string{
			"W/2019/a.jpg": "/W@2019-06-21",
			"W/2019/b.jpg": "/W@2019-06-21",
			"W/2019/c.jpg": "/W@2019-10-02",
		}},
		{"adjacent days in folders are two visits", nil, map[string]string{
			"W/2019-06-21/a.jpg": "/W@2019-06-21",
			"W/2019-06-22/b.jpg": "/W@2019-06-22",
		}},
		{"a note written the day after", nil, map[string]string{
			"W/2019-06-21 a.jpg":   "/W@2019-06-21",
			"W/2019-06-22 note.md": "/W@2019-06-21",
			"W/2019-06-25 note.md": "/W@2019-06-25",
		}},
		{"what only a year tells joins the year's one visit", map[string]string{"W/2019/a.jpg": june21}, map[string]string{
			"W/2019/a.jpg":     "/W@2019-06-21",
			"W/2019/scan.jpg":  "/W@2019-06-21",
			"W/2019/notes.txt": "/W@2019-06-21",
		}},
		{"of several visits none is guessed", map[string]string{"W/2019/a.jpg": june21, "W/2019/b.jpg": oct02}, map[string]string{
			"W/2019/a.jpg":     "/W@2019-06-21",
			"W/2019/b.jpg":     "/W@2019-10-02",
			"W/2019/scan.jpg":  "/W@2019",
			"W/2019/notes.txt": "/W@2019",
		}},
		{"seasons are visits of their own", nil, map[string]string{
			"W/2019 spring/a.jpg":    "/W@2019",
			"W/2019 fall/a.jpg":      "/W@2019",
			"W/2019 fall/notes.txt":  "/W@2019",
			"W/2019-06/2019-06-3.md": "/W@2019-06-03",
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			files := map[string]string{}
			for p := range c.want {
				files[p] = c.exif[p]
			}
			wantWhere(t, read(t, Options{Folder: tree(t, files)}), c.want)
		})
	}
}

// shared maps "site@date season" to the notes that serve the visit.
func shared(r *Result) map[string][]string {
	m := map[string][]string{}
	for _, s := range r.Sites {
		for _, v := range s.Visits {
			key := s.Site + "@" + v.Date
			if v.Season != "" {
				key += " " + v.Season
			}
			m[key] = []string{}
			for f := range v.Shared.All() {
				m[key] = append(m[key], f.Path)
			}
		}
	}
	return m
}

func TestSharedNotes(t *testing.T) {
	root := tree(t, map[string]string{
		"North/Windmill/2018-06-21/a.jpg": "", "North/Windmill/2019-06-21/a.jpg": "", "North/Creek/2019/a.jpg": "",
		"South/Gate/2019 spring/a.jpg": "", "South/Gate/2019 fall/a.jpg": "",
		"North/2019 field notes.pdf": "", "North/undated.txt": "", "2018-2019.pdf": "", "South/fall 2019.txt": "",
		"North/Windmill/2001-2018.pdf": "", "North/2019-06-21 notes.txt": "", "North/2020 notes.txt": "", "South/Gate/2019 notes.txt": "",
	})
	r := read(t, Options{Folder: root})
	got := shared(r)
	for visit, want := range map[string][]string{
		"Windmill@2018-06-21": {"2018-2019.pdf", "North/Windmill/2001-2018.pdf"},
		"Windmill@2019-06-21": {"2018-2019.pdf", "North/2019 field notes.pdf", "North/2019-06-21 notes.txt"},
		"Creek@2019":          {"2018-2019.pdf", "North/2019 field notes.pdf", "North/2019-06-21 notes.txt"},
		"Gate@2019 spring":    {"2018-2019.pdf"},
		"Gate@2019 fall":      {"2018-2019.pdf", "South/Gate/2019 notes.txt", "South/fall 2019.txt"},
	} {
		if !equal(got[visit], want) {
			t.Errorf("%s is served by %q, want %q", visit, got[visit], want)
		}
	}
	if len(got) != 5 {
		t.Errorf("visits %v", got)
	}
	// The site's own note of the year is kept once, with the first visit.
	if w := where(r)["South/Gate/2019 notes.txt"]; len(w) != 1 {
		t.Errorf("the note is at %q", w)
	}
}

func equal(a, b []string) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

func TestVisitsOverDays(t *testing.T) {
	r := read(t, Options{Folder: tree(t, map[string]string{"W/2019/a.jpg": june21, "W/2019/b.jpg": june22})})
	v := r.Sites[0].Visits[0]
	if v.Date != "2019-06-21" || v.Last != "2019-06-22" || v.Year != 2019 || v.Photos.Len() != 2 {
		t.Errorf("%+v", v)
	}
}

func TestBase(t *testing.T) {
	r := read(t, Options{Folder: tree(t, map[string]string{
		"North/Windmill/2018/a.jpg": "", "2019/North/Windmill/a.jpg": "", "North/Creek/2019/a.jpg": "", "2019/Gate/a.jpg": "",
	})})
	got := map[string]string{}
	for _, s := range r.Sites {
		got[s.Site] = s.Base
	}
	if got["Windmill"] != "" || got["Creek"] != "North/Creek" || got["Gate"] != "" || len(got) != 3 {
		t.Errorf("bases %q", got)
	}
}

// TestSiteOutOfReach: a site does not fall apart because what makes it one
// waits.
func TestSiteOutOfReach(t *testing.T) {
	root := tree(t, map[string]string{"North/Windmill/notes.txt": "", "North/Windmill/2019/a.jpg": ""})
	touch(t, root, "North/Windmill/2019/a.jpg", today)
	wantWhere(t, read(t, Options{Folder: root}), map[string]string{
		"North/Windmill/notes.txt": "North/Windmill@", "North/Windmill/2019/a.jpg": "waiting"})
}

// TestEvidenceInAnyOrder: folders are read in whatever order, and the same sites come
// of them.
func TestEvidenceInAnyOrder(t *testing.T) {
	for _, c := range []struct {
		pattern string
		files   []string
	}{
		{"", []string{
			"North/2019-06-21 overview.jpg", "North/Draw/pasture.toml", "North/Draw/Windmill/2019/a.jpg", "North/Draw/Windmill/2020/a.jpg",
			"2015 burn/Stake/site.toml", "2015 burn/Stake/2019/a.jpg", "2018/Creek/a.jpg", "2019/Creek/plot/a.jpg",
		}},
		{"{site}/{date}/{pasture} {view}.*", []string{"W/2019/North plot.jpg", "W/2018/South plot.jpg", "W/2020/Draw plot.jpg"}},
	} {
		l, err := layout.New(c.pattern, nil, time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC))
		if err != nil {
			t.Fatal(err)
		}
		homes := func(files []string) string {
			n := newNeighbors()
			for _, path := range files {
				dir, name := names.Parent(path), names.Base(path)
				n.evidence(l, dir, &walk.File{Known: walk.Known{Name: name}}, l.Folder(dir).File(name))
			}
			n.meet(l, nil)
			var all strings.Builder
			for _, path := range c.files {
				h := n.home(l.Folder(names.Parent(path)).File(names.Base(path)).At)
				if h == nil {
					h = &home{site: "nowhere"}
				}
				fmt.Fprintf(&all, "%s: %+v\n", path, *h)
			}
			return all.String()
		}
		want := homes(c.files)
		rapid.Check(t, func(t *rapid.T) {
			if got := homes(rapid.Permutation(c.files).Draw(t, "order")); got != want {
				t.Fatalf("%s\nwant\n%s", got, want)
			}
		})
	}
}
