package card

import (
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/manifest/geo"
)

const whole = `# Stake 3
name = "Stake 3"
pasture = "Windmill"
allotment = "Calico Bench"
permit = "0417"
latitude = 41.23456
longitude = -106
metres = 80
stand = "at the T-post"
camera_height = "5 ft"
marks = "rebar, yellow cap"
first_year = 2004
formerly = ["Stake 3 old"]
replaces = "Stake 1"
retired = 2023

[[view]]
name = "landscape"
bearing = 245.5
reference = "the notch"
since = 2004
until = 2020

[[view]]
name = "plot"

[[expect]]
since = 2012
every = 2
seasons = ["06-10 to 07-10", "12-15 to 01-15"]
views = ["plot"]
note = true

[[expect]]
since = 2004

[[closed]]
from = 2020-08-15
to = 2021
reason = "fire"

[about]
soil = "loam"
`

func TestEveryKey(t *testing.T) {
	want := Card{
		Name: "Stake 3", Pasture: "Windmill", Allotment: "Calico Bench", Permit: "0417",
		Position: &geo.Position{Latitude: 41.23456, Longitude: -106}, Meters: 80,
		Stand: "at the T-post", CameraHeight: "5 ft", Marks: "rebar, yellow cap", FirstYear: 2004,
		Formerly: []string{"Stake 3 old"}, Replaces: "Stake 1", Retired: "2023-12-31",
		Views: []View{{Name: "landscape", Bearing: new(245.5), Reference: "the notch", Since: 2004, Until: 2020}, {Name: "plot"}},
		Expect: []Expect{{Since: 2004, Every: 1}, {Since: 2012, Every: 2, Views: []string{"plot"}, Note: new(true),
			Seasons: []Season{{MonthDay{6, 10}, MonthDay{7, 10}}, {MonthDay{12, 15}, MonthDay{1, 15}}}}},
		Closed: []Closure{{"2020-08-15", "2021-12-31", "fire"}},
		About:  map[string]any{"soil": "loam"},
	}
	for name, text := range map[string]string{
		"as it is": whole,
		// Common practice: what editors on Windows make of a file.
		"byte-order mark and CRLF": "\xef\xbb\xbf" + strings.ReplaceAll(whole, "\n", "\r\n"),
	} {
		got, faults := Decode("a/site.toml", []byte(text))
		if len(faults) > 0 || !reflect.DeepEqual(got, want) {
			t.Errorf("%s:\n%+v\nwant\n%+v\nfaults %v", name, got, want, faults)
		}
	}
}

// A fault costs only the key it is in: every card here also has a name after
// it, which is read.
func TestFaults(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"latitude = 91\nlongitude = 5", "site.toml:1: latitude: 91 cannot be the latitude on WGS 84"},
		{"latitude = \"41 N\"\nlongitude = 5", "site.toml:1: latitude: this is text where a number is wanted"},
		{"latitude = nan\nlongitude = 5", "site.toml:1: latitude: NaN cannot be the latitude"},
		{"latitude = 0\nlongitude = 0.0", "site.toml:1: latitude: 0, 0 lies in the sea"},
		{"latitude = 41", "site.toml:1: latitude: a latitude alone"},
		{"longitude = 41", "site.toml:1: longitude: a longitude alone"},
		{"first_year = 204", "site.toml:1: first_year: 204 cannot be the year"},
		{"first_year = \"2004\"", "site.toml:1: first_year: this is text where a whole number is wanted"},
		{"retired = 2023-02-30", "site.toml:1: retired: 2023-02-30 cannot be read as a day; check that the month has this day, and write year-month-day, such as 2023-06-09"},
		{"retired = 2023-6-9", "site.toml:1: retired: 2023-6-9 cannot be read as a day; check"},
		{"retired = 2023-13-01 # gone", "site.toml:1: retired: 2023-13-01 cannot be read as a day"},
		{"retired = June 2023", "site.toml:1: retired: this line cannot be read"},
		{"retired = \"2023-02-30\"", "site.toml:1: retired: a day such as"},
		{"retired = true", "site.toml:1: retired: a day such as"},
		{"pasture = 4", "site.toml:1: pasture: this is a number where text is wanted"},
		{"formerly = [1]", "site.toml:1: formerly: every word of the list"},
		{"stnad = \"x\"", "site.toml:1: stnad: there is no such setting here; correct its spelling or move it below the line [about]"},
		{"about = 1", "site.toml:1: about: this is a number where a part of its own is wanted"},
		{"[view]\nname = \"plot\"", "site.toml:1: view: this is a part with settings of its own; write each view below a line [[view]]"},
		{"view = \"plot\"", "site.toml:1: view: this is text; write each view"},
		{"[[view]]\nbearing = 10", "site.toml:1: view.name: this view has no name"},
		{"[[view]]\nname = \"a\"\nbearing = -1", "site.toml:3: view.bearing: -1 cannot be the bearing"},
		{"[[view]]\nname = \"a\"\nsince = 2010\nuntil = 2009", "site.toml:4: view.until: this view ends before"},
		{"[[view]]\nname = \"a\"\n[[view]]\nname = \"a\"", "site.toml:4: view.name: there are two views"},
		{"[[expect]]\nevery = 0", "site.toml:2: expect.every: 0 cannot be the number of years"},
		{"[[expect]]\nseasons = [\"13-10 to 07-10\"]", "site.toml:2: expect.seasons: 13-10 in"},
		{"[[expect]]\nseasons = [\"06-31 to 07-10\"]", "site.toml:2: expect.seasons: 06-31 in"},
		{"[[expect]]\nseasons = [\"June\"]", "site.toml:2: expect.seasons: \"June\" is no season"},
		{"[[expect]]\nnote = \"yes\"", "site.toml:2: expect.note: this is text where true or false is wanted"},
		{"[[closed]]\nto = 2020", "site.toml:1: closed.from: a closure needs"},
		{"[[closed]]\nfrom = 2020\nto = 2019", "site.toml:3: closed.to: this closure ends before"},
		{"[[closed]]\nfrom = 2020\nto = \"soon\"", "site.toml:3: closed.to: a day such as"},
		{"stand = x", "site.toml:1: "},
		{"\xff\xfes\x00", "UTF-16"},
		{"# caf\xe9", "site.toml:1: this line holds a letter that is not in UTF-8"},
		{strings.Repeat("# long\n", 50_000), "far too large"},
	} {
		card, faults := Decode("site.toml", []byte(c.text))
		if len(faults) != 1 || !strings.Contains(faults[0].String(), c.want) {
			t.Errorf("%.60q: %v, want %q", c.text, faults, c.want)
		}
		if card.Position != nil || len(card.Closed) > 0 {
			t.Errorf("%.60q: what is at fault was used: %+v", c.text, card)
		}
		with, _ := Decode("site.toml", []byte("name = \"Stake 3\"\n"+c.text))
		whole := strings.Contains(faults[0].Text, "none of this card") || strings.Contains(faults[0].Text, "too large") || strings.Contains(c.text, "UTF-16")
		if !whole && with.Name != "Stake 3" {
			t.Errorf("%.60q: the name beside it was not read", c.text)
		}
	}
}

// A line that is no TOML costs itself, not the card, unless it may be the head of
// a part.
func TestALineThatIsNoTOMLIsLeftOut(t *testing.T) {
	c, faults := Decode("site.toml", []byte("name = \"Stake 3\"\r\nretired = 2023-02-30\r\nmarks = rebar\r\nfirst_year = 2004\r\n"))
	if len(faults) != 2 || faults[0].Line != 2 || faults[1].Line != 3 || c.Name != "Stake 3" || c.FirstYear != 2004 || c.Retired != "" || c.Marks != "" {
		t.Errorf("%+v, %v", c, faults)
	}
	c, faults = Decode("site.toml", []byte("name = \"Stake 3\"\n[[closed\nfrom = 2020\n"))
	if len(faults) != 1 || c.Name != "" || !strings.Contains(faults[0].Text, "none of this card") {
		t.Errorf("%+v, %v", c, faults)
	}
}

func TestSeasonsCrossTheNewYear(t *testing.T) {
	s := Season{MonthDay{12, 15}, MonthDay{1, 15}}
	opens, closes := s.In(2020)
	if opens.Format(time.DateOnly) != "2020-12-15" || closes.Format(time.DateOnly) != "2021-01-15" {
		t.Errorf("%v to %v", opens, closes)
	}
}

func TestExpectedIsTheNewestThatHasBegun(t *testing.T) {
	c, faults := Decode("site.toml", []byte(`
[[expect]]
since = 2012
seasons = ["09-01 to 09-30"]
[[expect]]
since = 2004
[[expect]]
since = 2012
seasons = ["05-01 to 05-31"]
`))
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	for year, want := range map[int]int{2003: 0, 2004: 1, 2011: 1, 2012: 2, 2040: 2} {
		if got := c.Expected(year); len(got) != want {
			t.Errorf("%d: %+v", year, got)
		}
	}
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte(whole))
	f.Add([]byte("\xef\xbb\xbfname='a'\r\n[[expect]]\r\nseasons='02-29 to 02-28'\r\nevery=3\r\n"))
	f.Add([]byte("view=[{name='a'},{name='b',bearing=inf}]\nclosed=[{from=2020-01-01T10:00:00Z}]\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		c, faults := Decode("site.toml", b)
		for _, x := range faults {
			if x.Text == "" || x.Line < 0 || x.Line > strings.Count(string(b), "\n")+1 {
				t.Fatalf("%+v", x)
			}
		}
		if c.Position != nil && !c.Position.Valid() {
			t.Fatalf("position %v", *c.Position)
		}
		if !slices.IsSortedFunc(c.Expect, func(a, b Expect) int { return a.Since - b.Since }) {
			t.Fatal("parts out of order")
		}
		for _, e := range c.Expect {
			for _, s := range e.Seasons {
				if opens, closes := s.In(2023); closes.Before(opens) || e.Every < 1 {
					t.Fatalf("%+v", e)
				}
			}
		}
	})
}
