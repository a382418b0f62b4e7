package card

import (
	"bytes"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"time"

	"linecamp/manifest/geo"
	"linecamp/manifest/names"
	"linecamp/manifest/tomlline"
)

// mostBytes bounds a card; a long one with every key is a hundredth of it.
const mostBytes = 256 << 10

// Decode reads a card. file is what faults name it by. What is at fault is left
// out of the card; the rest of it stands.
func Decode(file string, b []byte) (Card, []Fault) {
	if len(b) > mostBytes {
		return Card{}, []Fault{tooLarge(file)}
	}
	var faults []Fault
	tree, lines, fault := tomlline.Decode(b)
	for fault != nil {
		rest, ok := without(b, fault.Line)
		if !ok || len(faults) == mostLeftOut {
			return Card{}, []Fault{{file, fault.Line, fault.Key, fault.Text + "; none of this card is used until then"}}
		}
		faults = append(faults, Fault{file, fault.Line, fault.Key, fault.Text})
		b = rest
		tree, lines, fault = tomlline.Decode(b)
	}
	k := keys{&tomlline.Table{File: &tomlline.File{Path: file, Lines: lines, IsProse: true, Instead: "move it below the line [about]"}, Left: tree}}
	c := Card{
		Name: k.Text("name"), Pasture: k.Text("pasture"), Allotment: k.Text("allotment"), Permit: k.Text("permit"),
		Stand: k.Text("stand"), CameraHeight: k.Text("camera_height"), Marks: k.Text("marks"),
		Position:  k.position(),
		Meters:    k.meters(),
		FirstYear: k.year("first_year"),
		Formerly:  k.texts("formerly"), Replaces: k.Text("replaces"),
		Retired: k.day("retired", true),
	}
	for _, t := range k.Subs("view") {
		c.view(keys{t})
	}
	for _, t := range k.Subs("expect") {
		c.expect(keys{t})
	}
	slices.SortStableFunc(c.Expect, func(a, b Expect) int { return a.Since - b.Since })
	for _, t := range k.Subs("closed") {
		c.close(keys{t})
	}
	c.About = k.Sub("about").Left
	k.Rest(nil)
	for _, f := range k.Faults {
		faults = append(faults, Fault{file, f.Line, f.Key, f.Text})
	}
	slices.SortStableFunc(faults, func(a, b Fault) int { return a.Line - b.Line })
	return c, faults
}

// mostLeftOut is how many lines that are no TOML are left out of a card, before
// it is taken for something else altogether.
const mostLeftOut = 8

// setting is a line that gives one key a value which ends on that line. Any
// other line may be the head of a part, and what follows would belong elsewhere.
var setting = regexp.MustCompile(`^\s*[A-Za-z0-9_-]+\s*=[^\[{]*$`)

// without empties the line at fault, if it is a setting of its own.
func without(b []byte, line int) (rest []byte, ok bool) {
	lines := bytes.SplitAfter(b, []byte("\n"))
	if line < 1 || line > len(lines) {
		return nil, false
	}
	text := bytes.TrimRight(lines[line-1], "\r\n")
	if !setting.Match(text) || bytes.Contains(text, []byte(`"""`)) || bytes.Contains(text, []byte("'''")) {
		return nil, false
	}
	lines[line-1] = lines[line-1][len(text):]
	return bytes.Join(lines, nil), true
}

func tooLarge(file string) Fault {
	return Fault{file, 0, "", "this file is far too large for a card, and was not read; move it elsewhere under another name"}
}

func (k keys) position() *geo.Position {
	lat := k.NumberOr("latitude", -90, 90, false, "latitude on WGS 84")
	long := k.NumberOr("longitude", -180, 180, false, "longitude on WGS 84")
	_, faultyLat := k.Lines["latitude"]
	_, faultyLong := k.Lines["longitude"]
	switch {
	case lat != nil && long != nil:
		p := geo.Position{Latitude: *lat, Longitude: *long}
		if p.Told() {
			return &p
		}
		k.Fault("latitude", "0, 0 lies in the sea off Africa; write where the stake is, or leave both out")
	case lat != nil && !faultyLong:
		k.Fault("latitude", "a latitude alone is no position; add a longitude")
	case long != nil && !faultyLat:
		k.Fault("longitude", "a longitude alone is no position; add a latitude")
	}
	return nil
}

// MostMeters bounds how far from its site a picture may be taken; beyond it, every
// site is in the wrong place.
const MostMeters = 5000

func (k keys) meters() float64 {
	far := 0.0
	for _, key := range []string{"meters", "metres"} {
		if m := k.Number(key, 1, MostMeters, false, "distance in meters"); m != 0 {
			far = m
		}
	}
	if ft := k.Number("feet", 3, math.Floor(MostMeters/geo.Foot), false, "distance in feet"); ft != 0 {
		far = ft * geo.Foot
	}
	return far
}

func (c *Card) view(k keys) {
	v := View{Name: k.Text("name"), Bearing: k.NumberOr("bearing", 0, 360, false, "bearing in degrees from true north"),
		Reference: k.Text("reference"), Since: k.year("since"), Until: k.year("until")}
	k.Rest(nil)
	if v.Bearing != nil && *v.Bearing == 360 {
		*v.Bearing = 0
	}
	switch {
	case v.Name == "":
		k.Fault("name", "this view has no name, and is left out; write name = \"landscape\" or the like")
		return
	case slices.ContainsFunc(c.Views, func(w View) bool {
		return w.Name == v.Name && (w.Until == 0 || w.Until >= v.Since) && (v.Until == 0 || v.Until >= w.Since)
	}):
		k.Fault("name", "there are two views named %q at the same time; the first is used", v.Name)
		return
	case v.Until != 0 && v.Until < v.Since:
		k.Fault("until", "this view ends before it begins; it is left out")
		return
	}
	c.Views = append(c.Views, v)
}

func (c *Card) expect(k keys) {
	e := Expect{Since: k.year("since"), Every: int(k.Number("every", 1, 50, true, "number of years between visits")), Note: k.flag("note")}
	if e.Every == 0 {
		e.Every = 1
	}
	for _, s := range k.texts("seasons") {
		season, err := parseSeason(s)
		if err != nil {
			k.Fault("seasons", "%v", err)
			continue
		}
		e.Seasons = append(e.Seasons, season)
	}
	e.Views = k.texts("views")
	k.Rest(nil)
	c.Expect = append(c.Expect, e)
}

func (c *Card) close(k keys) {
	before := len(k.Faults)
	x := Closure{From: k.day("from", false), To: k.day("to", true), Reason: k.Text("reason")}
	sound := len(k.Faults) == before
	k.Rest(nil)
	switch {
	case !sound: // half a closure would excuse too much or too little
		return
	case x.From == "":
		k.Fault("from", "a closure needs its first day or year; it is left out until then")
		return
	case x.To != "" && x.To < x.From:
		k.Fault("to", "this closure ends before it begins; it is left out")
		return
	}
	c.Closed = append(c.Closed, x)
}

var seasonShape = regexp.MustCompile(`^(\d\d)-(\d\d) +to +(\d\d)-(\d\d)$`)

// parseSeason reads "06-10 to 07-10".
func parseSeason(s string) (Season, error) {
	m := seasonShape.FindStringSubmatch(s)
	if m == nil {
		return Season{}, fmt.Errorf("%q is no season; write it as month-day to month-day, such as \"06-10 to 07-10\"", names.Clip(s))
	}
	var d [2]MonthDay
	for i := range d {
		month, _ := strconv.Atoi(m[1+2*i])
		day, _ := strconv.Atoi(m[2+2*i])
		// 2024 is a leap year: 29 February is a day.
		t := time.Date(2024, time.Month(month), day, 0, 0, 0, 0, time.UTC)
		if int(t.Month()) != month || t.Day() != day {
			return Season{}, fmt.Errorf("%s-%s in %q is no day of the year", m[1+2*i], m[2+2*i], s)
		}
		d[i] = MonthDay{time.Month(month), day}
	}
	return Season{d[0], d[1]}, nil
}
