// Package notice decides what is told of an archive to people who look at nothing:
// when something wants one of them, when all is well again, and once a month that the
// service lives. Begin with [Book], which remembers what each way of telling (e-mail,
// webhook) was told. [Book.Note] takes the list of what wants a person and
// [Book.Found] new damage; [Book.Due] says what is to be told now, a [Notice];
// [Book.Sent] or [Book.Failed] says what came of it.
//
// What could not be sent is not kept as letters. The book keeps what was not told yet,
// and the next notice says all of it, as it stands then. So nothing old piles up, and
// whoever was out of reach for a week gets one notice.
//
// This package sends nothing and writes no sentence: package desk runs it beside the
// rounds, package post sends, and the words are in daemon/show/text/letter.
package notice

import (
	"strings"
	"time"
	"unicode"

	"linecamp/daemon/attention"
)

// Kind is what sort of notice it is.
type Kind string

// The kinds there are.
const (
	Wants     Kind = "wants"      // something wants a person
	WellAgain Kind = "well-again" // nothing does any more
	AllWell   Kind = "all-well"   // the word of the month
	Trial     Kind = "trial"      // a person asked for one
)

// Notice is one, as plain data.
type Notice struct {
	Kind    Kind      `json:"kind"`
	Archive string    `json:"archive"`
	Name    string    `json:"name,omitempty"` // as people write it
	Machine string    `json:"machine"`
	At      time.Time `json:"at"`
	// New is told here for the first time, Standing was told before and still is so.
	New      []attention.Item `json:"new"`
	Standing []attention.Item `json:"standing"`
	// Ended was so, and is so no longer. LeftOut counts what is older.
	Ended   []Ended  `json:"ended"`
	LeftOut int      `json:"left_out,omitempty"`
	Damage  []Damage `json:"damage"` // found since the last notice
	// Unsent is since when notices could not be sent this way, until now.
	Unsent *time.Time `json:"unsent_since,omitempty"`
	State  *State     `json:"state,omitempty"`
}

// Ended is something that wanted a person until a look or a round saw that it no
// longer does.
type Ended struct {
	attention.Item
	Until time.Time `json:"until"`
	Told  bool      `json:"told"` // while it was so
}

// Damage is what checks found newly damaged on one copy.
type Damage struct {
	Copy  string    `json:"copy"`
	Files int       `json:"files"`
	Paths []string  `json:"paths"` // the first of them
	At    time.Time `json:"at"`    // when it was found last
}

// State is how the archive stands, in numbers.
type State struct {
	Copies []Copy         `json:"copies"`
	Years  map[string]int `json:"years"`
	Seal   string         `json:"seal"` // the line for paper; "" while nothing is recorded
}

// Copy is how one copy stands.
type Copy struct {
	Copy     string     `json:"copy"`
	State    string     `json:"state"`
	Files    int        `json:"files"`
	Bytes    int64      `json:"bytes"`
	ReadBack int        `json:"read_back"` // files
	Oldest   *time.Time `json:"oldest_read_back"`
}

// key tells one trouble from another. A count that grows from day to day makes no new
// one, but where years are counted: a further year lost is news.
func key(i attention.Item) string {
	switch i.Kind {
	case attention.ChangeWaits, attention.FileWaits, attention.RecordingHeld:
		return slot(i) + strings.Map(func(r rune) rune {
			if unicode.IsDigit(r) {
				return -1
			}
			return r
		}, i.What)
	case attention.Years:
		return slot(i) + i.What
	}
	return slot(i)
}

// slot is what one trouble takes the place of another in.
func slot(i attention.Item) string { return string(i.Kind) + " " + i.ID + i.Round + " " }

// day is the local day of a moment.
func day(t time.Time) string { return t.Local().Format(time.DateOnly) }

func month(t time.Time) string { return t.Local().Format("2006-01") }
