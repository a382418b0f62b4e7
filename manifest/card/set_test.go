package card

import (
	"context"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"linecamp/manifest/tally"
)

// tallied is long enough ago that a file is taken to be finished.
var tallied = time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)

func tree(t *testing.T, files map[string]string) *tally.Result {
	t.Helper()
	root := t.TempDir()
	for path, content := range files {
		path = filepath.Join(root, filepath.FromSlash(path))
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(content), 0o666); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(path, tallied, tallied); err != nil {
			t.Fatal(err)
		}
	}
	r, err := tally.Read(context.Background(), tally.Options{Folder: root})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestCardsReachTheirSites(t *testing.T) {
	s := Read(tree(t, map[string]string{
		"Windmill/Stake 3/2019-06-21/plot.jpg": "a",
		"Windmill/Stake 3/site.toml":           "permit = \"7\"\nlatitude = 41.5\nlongitude = -106.5\n[[closed]]\nfrom = 2020\n",
		"Windmill/Stake 4/2019-06-21/plot.jpg": "b",
		"Windmill/pasture.toml":                "allotment = \"Bench\"\npermit = \"1\"\nretired = 2030\n[[closed]]\nfrom = 2010\nto = 2011\n",
		"Draw/Spring/2019-06-21/plot.jpg":      "c",
		"Draw/Spring/Site.TOML":                "name = \"Upper Spring\"\nlongitude = 500\n",
		"Draw/Stake 4/2019-06-21/plot.jpg":     "d",
		"points.gpx": gpx(`<wpt lat="1" lon="2"><name>windmill STAKE_3</name></wpt>
			<wpt lat="41.6" lon="-106.6"><name>Upper-Spring</name></wpt>
			<wpt lat="41.6" lon="-106.6001"><name>spring</name></wpt>
			<wpt lat="41.7" lon="-106.7"><name>Stake 4</name></wpt>
			<wpt lat="41.8" lon="-106.8"><name>Draw Stake 4</name></wpt>
			<wpt lat="41.8" lon="-106.9"><name>Draw Stake 4</name></wpt>`),
		"site.toml": "name = \"x\"",
	}))
	three, four := s.Of(Key{"Windmill", "Stake 3"}), s.Of(Key{"Windmill", "Stake 4"})
	if three.Permit != "7" || three.Allotment != "Bench" || len(three.Closed) != 2 || three.Retired != "2030-12-31" {
		t.Errorf("Stake 3: %+v", three)
	}
	if four.Permit != "1" || len(four.Closed) != 1 || four.Position != nil {
		t.Errorf("Stake 4: %+v", four)
	}
	if c := s.Of(Key{"Draw", "Stake 4"}); !reflect.DeepEqual(c, Card{}) {
		t.Errorf("a pasture's card reached the next pasture: %+v", c)
	}
	for k, want := range map[Key]string{
		{"Windmill", "Stake 3"}: "41.50000, -106.50000", // its card, not the waypoint
		{"Draw", "Spring"}:      "41.60000, -106.60000",
		{"Windmill", "Stake 4"}: "", // the bare name is that of two sites
		{"Draw", "Stake 4"}:     "41.80000, -106.80000",
	} {
		got := ""
		if p, ok := s.Position(k); ok {
			got = p.String()
		}
		if got != want {
			t.Errorf("%v: %q, want %q", k, got, want)
		}
	}
	var faults []string
	for _, f := range s.Faults {
		faults = append(faults, f.String())
	}
	for i, want := range []string{
		"Draw/Spring/Site.TOML:2: longitude: 500 cannot be the longitude",
		"points.gpx: the waypoint \"Draw Stake 4\" lies ",
		"site.toml: this card lies in no site's folder",
	} {
		if len(faults) != 3 || !strings.HasPrefix(faults[i], want) {
			t.Fatalf("faults:\n%s\nwant %q", strings.Join(faults, "\n"), want)
		}
	}
}

func TestCardsThatCannotBeRead(t *testing.T) {
	r := tree(t, map[string]string{
		"Windmill/Stake 3/2019-06-21/plot.jpg": "a",
		"Windmill/Stake 3/site.toml":           "name = \"x\"",
	})
	if err := os.Remove(filepath.Join(r.Folder, "Windmill/Stake 3/site.toml")); err != nil {
		t.Fatal(err)
	}
	s := Read(r)
	if len(s.Faults) != 1 || !strings.Contains(s.Faults[0].Text, "cannot be read") {
		t.Errorf("%v", s.Faults)
	}
	// A link out of the working folder, put there after the tally.
	outside := filepath.Join(t.TempDir(), "site.toml")
	if err := os.WriteFile(outside, []byte("name = \"secret\""), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(outside, filepath.Join(r.Folder, "Windmill/Stake 3/site.toml")); err != nil {
		t.Fatal("no symbolic links here: ", err)
	}
	if s := Read(r); len(s.Faults) != 1 || s.Of(Key{"Windmill", "Stake 3"}).Name != "" {
		t.Errorf("%+v, %v", s.Of(Key{"Windmill", "Stake 3"}), s.Faults)
	}
}

// The folder for cards serves sites in every layout, each by its name; a card that
// applies to nothing is told.
func TestCardsInTheFolderForCards(t *testing.T) {
	s := Read(tree(t, map[string]string{
		"2018/Windmill/Stake 3/plot.jpg":      "a",
		"2019/Windmill/Stake 3/plot.jpg":      "b",
		"2019/Draw/Stake 4/plot.jpg":          "c",
		"2019/Windmill/Stake 4/plot.jpg":      "d",
		"Draw/Cañon Gate/2019-06-21/plot.jpg": "e",
		"Draw/Spring/2019-06-21/plot.jpg":     "f",
		"Draw/Spring/site.toml":               "permit = \"1\"",
		"sites/windmill--stake-3.toml":        "permit = \"3\"\nlatitude = 41.5\nlongitude = -106.5\n",
		"sites/Draw Stake 4.toml":             "permit = \"4\"",
		"sites/CANON GATE.toml":               "permit = \"5\"\nlatitud = 4\n",
		"sites/Stake 4.toml":                  "permit = \"6\"",
		"sites/Stake 9.toml":                  "permit = \"9\"",
		"sites/Spring.toml":                   "permit = \"2\"",
		"sites/how to.txt":                    "a card a site",
		"Office/pasture.toml":                 "permit = \"7\"",
		"sites/archive/Windmill Stake 4.toml": "permit = \"8\"",
	}))
	for k, want := range map[Key]string{
		{"Windmill", "Stake 3"}: "3", {"Draw", "Stake 4"}: "4", {"Draw", "Cañon Gate"}: "5", {"Draw", "Spring"}: "1", {"Windmill", "Stake 4"}: "",
	} {
		if got := s.Of(k).Permit; got != want {
			t.Errorf("%v: permit %q, want %q", k, got, want)
		}
	}
	if p, ok := s.Position(Key{"Windmill", "Stake 3"}); !ok || p.Latitude != 41.5 {
		t.Errorf("%v, %v", p, ok)
	}
	var faults []string
	for _, f := range s.Faults {
		faults = append(faults, f.String())
	}
	want := []string{
		"Office/pasture.toml: this card applies to nothing",
		"sites/CANON GATE.toml:2: latitud: there is no such setting",
		"sites/Spring.toml: this site has a card already (Draw/Spring/site.toml)",
		"sites/Stake 4.toml: 2 sites are called so",
		"sites/Stake 9.toml: this card applies to nothing: no site is called Stake 9",
	}
	if len(faults) != len(want) {
		t.Fatalf("%q", faults)
	}
	for i := range want {
		if !strings.HasPrefix(faults[i], want[i]) {
			t.Errorf("%q, want %q", faults[i], want[i])
		}
	}
}
