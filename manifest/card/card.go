// Package card reads what people declare about their sites: site.toml in a site's
// folder, pasture.toml in a pasture's for every site below it, a file of a site's
// name in the folder sites at the top, which every layout has, and the waypoints of
// GPX files. Begin with [Read]; [Decode] takes one card apart, [Waypoints] a GPX
// file.
//
// All of it is optional. A card is written by hand, so it is read with
// patience: each key is taken by itself, a fault in one is reported with file,
// line and key, and the others are used. Nothing here ever keeps a file from
// being kept.
//
//	name        = "Stake 3"            # as people say it, where the folder says it otherwise
//	pasture     = "Windmill"
//	allotment   = "Threeawn Bench"
//	permit      = "2231"
//	latitude    = 38.65820             # WGS 84, degrees, north positive
//	longitude   = -103.08740           # east positive
//	meters      = 60                   # how far from there pictures may be taken
//	stand       = "at the T-post, toe on the stone"
//	camera_height = "4.5 ft"
//	marks       = "rebar with an orange cap"
//	first_year  = 1998
//	formerly    = ["Stake 3 old"]      # earlier folder names
//	replaces    = "Stake 1"            # a site that stopped where this one began
//	retired     = 2024                 # a year or a day; nothing is expected after it
//
//	[[view]]                           # a picture taken at every visit
//	name      = "landscape"
//	bearing   = 310                    # degrees from true north
//	reference = "the grain elevator on the horizon"
//	since     = 1998                   # until = …
//
//	[[expect]]                         # what is to come; the newest "since" that has begun holds
//	since   = 2009
//	every   = 3                        # years; 1 where left out
//	seasons = ["08-01 to 08-31"]       # may cross the new year
//	views   = ["plot", "landscape"]
//	note    = true
//
//	[[closed]]                         # nothing is expected meanwhile
//	from   = 2022-04-10                # a day, or a year
//	to     = 2023                      # left out: still closed
//	reason = "prairie fire"
//
//	[about]                            # anything else
package card

import (
	"fmt"
	"time"

	"linecamp/manifest/geo"
)

// Card is what is declared about a site. What is not declared is zero.
type Card struct {
	Name, Pasture, Allotment, Permit string
	Position                         *geo.Position
	Meters                           float64 // how far from there a picture may be taken; 0 where that is not declared
	Views                            []View
	Stand, CameraHeight, Marks       string
	FirstYear                        int
	Expect                           []Expect // oldest Since first
	Closed                           []Closure
	Formerly                         []string
	Replaces                         string
	Retired                          string         // the last day on which anything is expected, "2023-12-31"
	About                            map[string]any // as it was decoded
}

// View is a picture that belongs to every visit.
type View struct {
	Name         string
	Bearing      *float64 // degrees clockwise from true north, 0 up to but not including 360
	Reference    string   // what the picture is lined up on, in words
	Since, Until int      // years, both included; 0 for open
}

// Expect is what visits are to bring home, from a year on.
type Expect struct {
	Since   int      // first year it holds; 0 from the beginning
	Every   int      // years between visits, at least 1
	Seasons []Season // each is a visit of its own; none: any time of the year
	Views   []string // nil: not declared
	Note    *bool    // nil: not declared
}

// Season is the part of the year a visit is due in, both days included. Where
// To stands before From it crosses the new year and belongs to the year it
// begins in.
type Season struct{ From, To MonthDay }

// MonthDay is a day of any year.
type MonthDay struct {
	Month time.Month
	Day   int
}

func (d MonthDay) String() string { return fmt.Sprintf("%02d-%02d", int(d.Month), d.Day) }

// In is the day in a year, at midnight UTC. 29 February is the 1st of March in
// years without one.
func (d MonthDay) In(year int) time.Time {
	return time.Date(year, d.Month, d.Day, 0, 0, 0, 0, time.UTC)
}

// In is the season of a year.
func (s Season) In(year int) (opens, closes time.Time) {
	opens, closes = s.From.In(year), s.To.In(year)
	if closes.Before(opens) {
		closes = s.To.In(year + 1)
	}
	return opens, closes
}

// Closure is a time in which a site could not be visited, both days included.
type Closure struct {
	From, To string // "2020-08-15"; To is "" while it lasts
	Reason   string
}

// Fault is something in a card that could not be used.
type Fault struct {
	File string `json:"file"` // relative to the working folder
	Line int    `json:"line"` // 0 where no line is to blame
	Key  string `json:"key"`  // "expect.seasons"; "" where no key is to blame
	Text string `json:"text"` // what is wrong and what to do
}

// String is the fault on one line: file:line: key: sentence.
func (f Fault) String() string {
	where := f.File
	if f.Line > 0 {
		where = fmt.Sprintf("%s:%d", where, f.Line)
	}
	if f.Key != "" {
		where += ": " + f.Key
	}
	return where + ": " + f.Text
}

// Expected is what holds in a year: of all parts that have begun, those that
// began last. Two of them may hold together, for a spring and a fall visit
// that bring home different pictures.
func (c *Card) Expected(year int) (now []Expect) {
	for _, e := range c.Expect {
		if e.Since > year {
			break
		}
		if len(now) > 0 && now[0].Since != e.Since {
			now = nil
		}
		now = append(now, e)
	}
	return now
}

// Under adds to a site's card what its pasture's declares for every site.
func (c Card) Under(pasture Card) Card {
	either := func(a *string, b string) {
		if *a == "" {
			*a = b
		}
	}
	either(&c.Pasture, pasture.Pasture)
	either(&c.Allotment, pasture.Allotment)
	either(&c.Permit, pasture.Permit)
	either(&c.Stand, pasture.Stand)
	either(&c.CameraHeight, pasture.CameraHeight)
	either(&c.Marks, pasture.Marks)
	either(&c.Retired, pasture.Retired)
	if c.Meters == 0 {
		c.Meters = pasture.Meters
	}
	if c.FirstYear == 0 {
		c.FirstYear = pasture.FirstYear
	}
	if c.Views == nil {
		c.Views = pasture.Views
	}
	if c.Expect == nil {
		c.Expect = pasture.Expect
	}
	c.Closed = append(c.Closed[:len(c.Closed):len(c.Closed)], pasture.Closed...)
	if c.About == nil {
		c.About = pasture.About
	}
	return c
}
