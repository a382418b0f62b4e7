// Package ranch draws Saltbush Draw Ranch, an invented ranch in an invented county,
// as a folder of monitoring photos and field notes. Begin with [New], which makes a
// [Ranch], and [Ranch.Draw].
//
// The model, from the outside in:
//
//   - [New] lays out the [Ranch]: three pastures, six marked sites, and one
//     [Visit] to each site in the middle of August of every year since 2009. Each visit
//     has a plot picture, a landscape picture and a note. Everything follows
//     from a seed, so the same seed draws the same bytes.
//   - The [Rain] record drives what a person sees: grass cover, its color, and
//     the wording of the notes.
//   - A [View] of a site keeps what lasts. Its skyline, its landmark, its
//     shrubs and the plants at its plot are the same ones year after year; only
//     rain, weather, growth and a hand that never holds the camera quite the
//     same way differ.
//   - [Flaws] says what the record honestly lacks: a year nobody came, a year
//     without its landscape, a note that was never written. Whoever checks the
//     folder can be held against it.
//   - [Ranch.Draw] writes the tree, {pasture}/{site}/{date}/, and sets each
//     file's time to the afternoon of its visit.
//
// Nothing here knows linecamp: the folder is what a ranch would have anyway.
package ranch

import (
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"time"
)

// FirstYear is the year of the first visits.
const FirstYear = 2009

// Name and County are the invented ranch's, as written on its photo boards.
const (
	Name   = "Saltbush Draw Ranch"
	County = "Calico County"
)

// Zone is the ranch's clock: six hours behind UTC in summer, the only season
// anyone takes pictures. Fixed, so that a drawing needs no time zone tables.
var Zone = time.FixedZone("-06:00", -6*3600)

// Ranch is the whole record before it is drawn.
type Ranch struct {
	Seed   uint64
	Sites  []*Site
	Visits []*Visit // by year, then by site
	Rain   Rain
	Flaws  Flaws
}

// Visit is one day at one site.
type Visit struct {
	Site    *Site
	Year    int
	Time    time.Time // when the plot picture was taken
	Weather Weather
	Inches  float64 // rain and snow from October to this visit
	Usual   float64 // the mean of the record
	Cover   float64 // share of the ground under grass, 0 to 1
	Green   float64 // 0 is cured straw, 1 is as green as it gets

	CapMissing bool // the stake's cap was gone

	NoLandscape bool // flaw: the picture was never taken
	NoNote      bool // flaw: nothing was written down
	AfterGap    bool // nobody came the year before
}

// SiteYear names one year of one site.
type SiteYear struct {
	Pasture, Site string
	Year          int
}

// Flaws lists what the drawn record lacks. They are real: nothing in the
// folder says so except, here and there, a later note.
type Flaws struct {
	Skipped     []SiteYear // no visit at all
	NoLandscape []SiteYear // a visit without its landscape picture
	NoNote      []SiteYear // a visit without a note
}

// New lays out the ranch from 2009 to now's year. A visit that is not
// over by then has not happened yet and is left out, as is a flaw of such a
// year.
func New(seed uint64, now time.Time) *Ranch {
	last := now.In(Zone).Year()
	r := &Ranch{Seed: seed, Sites: sites(seed), Rain: rainfall(seed, last)}
	for year := FirstYear; year <= last; year++ {
		for i, s := range r.Sites {
			r.visit(s, i, year, now)
		}
	}
	return r
}

// visit adds the visit to the i-th site in a year, flawed where it is to be.
func (r *Ranch) visit(s *Site, i, year int, now time.Time) {
	when := visitTime(r.Seed, i, year)
	if when.Add(8 * time.Hour).After(now) {
		return // its notes are typed up by evening
	}
	where := SiteYear{s.Pasture, s.Name, year}
	if year == s.skipped {
		r.Flaws.Skipped = append(r.Flaws.Skipped, where)
		return
	}
	v := &Visit{
		Site: s, Year: year, Time: when,
		Weather: weather(r.Seed, s.Pasture, year),
		Inches:  r.Rain.Inches(year), Usual: r.Rain.Usual(),
		CapMissing: year == s.capGone,
		AfterGap:   year-1 == s.skipped,
	}
	v.Cover, v.Green = r.Rain.Grass(s, year)
	if year == s.noLandscape {
		v.NoLandscape = true
		r.Flaws.NoLandscape = append(r.Flaws.NoLandscape, where)
	}
	if year == s.noNote {
		v.NoNote = true
		r.Flaws.NoNote = append(r.Flaws.NoNote, where)
	}
	r.Visits = append(r.Visits, v)
}

// visitTime: the round takes three days, one pasture a day, two sites a
// morning before the storms build, and starts within a few days of 12 August, when
// the warm-season grasses of the plains are grown.
func visitTime(seed uint64, i, year int) time.Time {
	start := 12 + Random(seed, "round", year).IntN(6) // 12 to 17 August
	d := Random(seed, "visit", year, i)
	minute := 7*60 + 35 + 85*(i%2) + d.IntN(40)
	return time.Date(year, time.August, start+i/2, 0, minute, d.IntN(60), 0, Zone)
}

// Folder is where the visit's files lie, slash-separated, below the ranch.
func (v *Visit) Folder() string {
	return v.Site.Pasture + "/" + v.Site.Name + "/" + v.Time.Format(time.DateOnly)
}

// Visit finds the visit to a site in a year, nil if there was none.
func (r *Ranch) Visit(site string, year int) *Visit {
	for _, v := range r.Visits {
		if v.Site.Name == site && v.Year == year {
			return v
		}
	}
	return nil
}

// Site finds a site by its name, nil if there is none.
func (r *Ranch) Site(name string) *Site {
	for _, s := range r.Sites {
		if s.Name == name {
			return s
		}
	}
	return nil
}

// Random is a source of its own for each use, so that adding one use never
// changes another's numbers, nor does the order in which pictures are drawn.
func Random(seed uint64, use ...any) *rand.Rand {
	h := fnv.New64a()
	fmt.Fprint(h, use...)
	return rand.New(rand.NewPCG(seed, h.Sum64()))
}
