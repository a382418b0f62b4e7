package tally

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"linecamp/manifest/layout"
	"linecamp/manifest/names"
	"linecamp/manifest/walk"
)

// What a date of numbers alone means, the archive decides; what it does not decide
// is asked, and never guessed.
func TestDatesOfNumbers(t *testing.T) {
	for _, c := range []struct {
		name  string
		dates string // in the settings
		exif  map[string]string
		want  map[string]string
		asked []string
	}{
		{name: "a name with one reading decides for the site's others", want: map[string]string{
			"W/S/6-21-19/a.jpg": "W/S@2019-06-21", "W/S/06-07-18/a.jpg": "W/S@2018-06-07", "W/S/07-06-17/a.jpg": "W/S@2017-07-06"}},
		{name: "and for the archive's", want: map[string]string{
			"W/S/6-21-19/a.jpg": "W/S@2019-06-21", "W/T/06-07-18/a.jpg": "W/T@2018-06-07", "W/U/06082017/a.jpg": "W/U@2017-06-08"}},
		{name: "the day first, where a site writes so", want: map[string]string{
			"W/S/21.6.2019/a.jpg": "W/S@2019-06-21", "W/S/6.7.2018/a.jpg": "W/S@2018-07-06",
			"W/T/6-21-19/a.jpg": "W/T@2019-06-21", "W/T/06-07-18/a.jpg": "W/T@2018-06-07"}},
		{name: "a site between two that differ is asked about", want: map[string]string{
			"W/S/21.6.2019/a.jpg": "W/S@2019-06-21", "W/T/6-21-19/a.jpg": "W/T@2019-06-21", "W/U/06-07-18/a.jpg": "W/U@"},
			asked: []string{"1 photo in W/U/06-07-18: which day? 2006-07-18, 2018-06-07 or 2018-07-06"}},
		{name: "the camera decides", exif: map[string]string{"W/S/06-07-19/a.jpg": "2019:06:07 10:11:12"}, want: map[string]string{
			"W/S/06-07-19/a.jpg": "W/S@2019-06-07", "W/S/06-07-19/scan.png": "W/S@2019-06-07", "W/S/06-07-19/notes.txt": "W/S@2019-06-07"}},
		{name: "and for the folders whose photos have no date", exif: map[string]string{"W/S/06-07-19/plot/a.jpg": "2019:06:07 10:11:12"}, want: map[string]string{
			"W/S/06-07-19/plot/a.jpg": "W/S@2019-06-07", "W/S/06-08-18/b.jpg": "W/S@2018-06-08"}},
		{name: "a camera of another time decides nothing", exif: map[string]string{"W/S/06-07-2019/a.jpg": "2012:01:01 00:00:00"}, want: map[string]string{
			"W/S/06-07-2019/a.jpg": "W/S@2019"}, asked: []string{"1 photo in W/S/06-07-2019: which day? 2019-06-07 or 2019-07-06"}},
		{name: "the season decides", want: map[string]string{
			"W/S/2015-06-08/a.jpg": "W/S@2015-06-08", "W/S/2016-06-11/a.jpg": "W/S@2016-06-11", "W/S/06-10-2019/a.jpg": "W/S@2019-06-10"}},
		{name: "the months of the archive decide", want: map[string]string{
			"W/S/06-05-2019/a.jpg": "W/S@2019-06-05", "W/T/06-08-2019/a.jpg": "W/T@2019-06-08", "W/U/06-11-2019/a.jpg": "W/U@2019-06-11"}},
		{name: "visits on the same day of several months decide nothing", want: map[string]string{
			"W/S/05-06-2019/a.jpg": "W/S@2019", "W/S/06-06-2018/a.jpg": "W/S@2018-06-06", "W/S/08-06-2017/a.jpg": "W/S@2017"},
			asked: []string{"1 photo in W/S/08-06-2017: which day? 2017-06-08 or 2017-08-06", "1 photo in W/S/05-06-2019: which day? 2019-05-06 or 2019-06-05"}},
		{name: "the settings decide", dates: "day first", want: map[string]string{"W/S/06-07-19/a.jpg": "W/S@2019-07-06"}},
		{name: "the settings decide against a name", dates: "year first", want: map[string]string{"W/S/06-07-19/a.jpg": "W/S@2006-07-19", "W/S/6-21-18/a.jpg": "W/S@2018-06-21"}},
		{name: "two visits of a year, one of them undecided", want: map[string]string{
			"W/S/2019-09-21/a.jpg": "W/S@2019-09-21", "W/S/06-07-2019/a.jpg": "W/S@2019"},
			asked: []string{"1 photo in W/S/06-07-2019: which day? 2019-06-07 or 2019-07-06"}},
		{name: "names of files", want: map[string]string{
			"W/S/6-21-19 plot.jpg": "W/S@2019-06-21", "W/S/06-07-18 plot.jpg": "W/S@2018-06-07", "W/S/site.toml": "W/S@"}},
		{name: "a year above, a day below", want: map[string]string{
			"W/S/2006/06-07-06/a.jpg": "W/S@2006", "2019/W/T/06-07-19/a.jpg": "W/T@2019"},
			asked: []string{"1 photo in W/S/2006/06-07-06: which day? 2006-06-07 or 2006-07-06", "1 photo in 2019/W/T/06-07-19: which day? 2019-06-07 or 2019-07-06"}},
		{name: "what has no whole date", want: map[string]string{
			"W/S/2018/a.jpg": "W/S@2018", "W/S/19/a.jpg": "W/S@", "W/S/June 21/a.jpg": "W/S@", "W/S/6-21/a.jpg": "W/S@", "W/S/misc/a.jpg": "W/S@", "W/S/2010-2012/a.jpg": "W/S@", "W/S/62119/a.jpg": "W/S@"},
			asked: []string{"1 photo in W/S/19: which day, of 2019?", "1 photo in W/S/2010-2012: which day?", "1 photo in W/S/6-21: which day?", "1 photo in W/S/62119: which day, of 2019?",
				"1 photo in W/S/June 21: which day?", "1 photo in W/S/misc: which day?"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			files := map[string]string{}
			for p := range c.want {
				files[p] = c.exif[p]
			}
			r := read(t, Options{Folder: tree(t, files), Dates: c.dates})
			wantWhere(t, r, c.want)
			var asked []string
			for _, u := range r.Undated() {
				asked = append(asked, u.Question())
			}
			if !slices.Equal(asked, c.asked) {
				t.Errorf("asked\n%q, want\n%q", asked, c.asked)
			}
			if rep := r.Outline("saltbush-draw"); len(rep.Undated) != len(c.asked) {
				t.Errorf("%+v", rep.Undated)
			}
		})
	}
}

// written writes a day as Americans do, in one of their ways.
func written(way int, d time.Time) string {
	return d.Format([]string{"1-2-06", "01-02-06", "01_02_06", "1.2.2006", "01022006", "01-02-2006", "Jan 2 06", "January 2, 2006", "2 January 2006"}[way])
}

// An archive with dates in numbers is read as the same one with ISO dates is, or
// asks; it never has a visit on another day.
func TestAmericanDatesAreISODatesOrAsked(t *testing.T) {
	asked, decided := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		iso, us := map[string]string{}, map[string]string{}
		back := map[string]string{}
		early := rapid.Bool().Draw(t, "no day over 12")
		for s := range rapid.IntRange(1, 3).Draw(t, "sites") {
			middle := time.Date(2004, time.Month(rapid.IntRange(2, 11).Draw(t, "month")), rapid.IntRange(1, 28).Draw(t, "day"), 0, 0, 0, 0, time.UTC)
			if early {
				middle = time.Date(2004, middle.Month(), 6, 0, 0, 0, 0, time.UTC)
			}
			way := rapid.IntRange(0, 8).Draw(t, "way")
			for y := range rapid.IntRange(1, 8).Draw(t, "years") {
				most := 20
				if early {
					most = 5
				}
				d := middle.AddDate(2012+y-2004, 0, rapid.IntRange(-most, most).Draw(t, "off"))
				p := fmt.Sprintf("W/S%d/%s/a.jpg", s, d.Format(time.DateOnly))
				q := fmt.Sprintf("W/S%d/%s/a.jpg", s, written(way, d))
				iso[p], us[q], back[q] = "", "", p
			}
		}
		want, _ := understood(t, iso)
		got, list := understood(t, us)
		for q, at := range got {
			is := want[back[q]]
			switch {
			case at == is:
				decided++
			case at == is[:strings.IndexByte(is, '@')+1], at == is[:strings.IndexByte(is, '@')+5]: // of no day, or of its year
				if asked++; !slices.Contains(list, q[:len(q)-len("/a.jpg")]) {
					t.Fatalf("%s is %s, and not asked about", q, at)
				}
			default:
				t.Fatalf("%s is at %s, and %s in ISO dates\nall: %q", q, at, is, got)
			}
		}
	})
	if !testing.Short() && (decided == 0 || asked == 0) { // of a few tries, all may be of one kind
		t.Errorf("%d decided, %d asked", decided, asked)
	}
	t.Logf("%d decided, %d asked", decided, asked)
}

// understood settles paths as if they had been read: where each is, and the folders
// that are asked about.
func understood(t *rapid.T, paths map[string]string) (at map[string]string, asked []string) {
	l, err := layout.New("", nil, today)
	if err != nil {
		t.Fatal(err)
	}
	g, r := gatherer{layout: l, near: newNeighbors()}, &Result{now: today}
	for path := range paths {
		g.folder(names.Parent(path), []walk.File{{Known: walk.Known{Name: names.Base(path)}}})
	}
	r.settle(l, g.near, g.read, "", 1)
	at = map[string]string{}
	for path, places := range where(r) {
		at[path] = places[0]
	}
	for _, u := range r.Undated() {
		asked = append(asked, u.Folder)
	}
	return at, asked
}
