package attention

import "time"

// Facts are all that [Of] decides by.
type Facts struct {
	Now time.Time

	// Folder is the working folder, "" where this machine only keeps the archive.
	// FolderFault says why it cannot be looked at, "" where it can.
	Folder      string
	FolderFault string
	Empty       bool // it shows no file at all
	// Unrecorded is what the folder holds and no version has: Late since before
	// the last mirror round, New since then. What changed within the last minute
	// is in neither.
	Late, New Amount
	Oldest    time.Time // since when the oldest of them stands there
	Path      string    // the first of them
	// Served says that a service runs the rounds of the archive here.
	Served bool
	// HalfBack says that new-machine was stopped before it ended, and no round since
	// recorded all of the folder.
	HalfBack bool
	// Recorded is the number of sites that have a version.
	Recorded int
	// Recorder is the computer that records the archive, where it is another.
	Recorder string
	// SameName says that the other is called as this computer is: another state
	// folder of it, or one it had before.
	SameName bool

	// Wrote is when the newest of what is recorded was, and Quiet how long there
	// may be nothing new of an archive that is only kept here; 0 for ever.
	Wrote time.Time
	Quiet time.Duration

	// NoticeFault is what the settings of notices are at fault in. Unsent is why no
	// notice could be sent since UnsentSince.
	NoticeFault string
	Unsent      string
	UnsentSince time.Time

	// NotHere is what is on record and was never in the working folder, by site.
	NotHere  []NotHere
	Waits    []Wait
	Copies   []Copy
	Returned []Returned
	Checks   []Check
	Damaged  int // damaged or foreign files on record
	// DamagedOn are the names of the copies they are on, each once.
	DamagedOn []string
	Years     map[string]int
	Rounds    []Round

	// SheetOld is when the recovery sheet was printed that no longer fits the
	// copies; zero where it fits, or none was printed.
	SheetOld time.Time

	// Noted is since when each item was seen at earlier looks, by its key.
	Noted map[string]time.Time
}

// Amount is a number of people's files and their size.
type Amount struct {
	Files int   `json:"files"`
	Bytes int64 `json:"bytes"`
}

// Plus adds two amounts.
func (a Amount) Plus(b Amount) Amount { return Amount{a.Files + b.Files, a.Bytes + b.Bytes} }

// NotHere is what of one site is on record and was never in the working folder.
type NotHere struct {
	Amount
	Site  string // for people
	Asked string // as a command line names it, "" where it is no site
	Years []int
	Path  string // of the first file
}

// Wait is what the last mirror round left waiting for a person, for one reason.
type Wait struct {
	Kind   Kind      `json:"kind"`
	Reason string    `json:"reason"`
	Files  int       `json:"files"`
	Shown  int       `json:"shown"` // of these, what the working folder shows
	Path   string    `json:"path"`  // of one of them
	Since  time.Time `json:"since"`
}

// Check is what a check found beside damage.
type Check struct {
	Kind  Kind      `json:"kind"`
	ID    string    `json:"id"` // the copy's
	Copy  string    `json:"-"`  // its name today
	What  string    `json:"what"`
	Since time.Time `json:"since"`
}

// Copy is how one copy stands.
type Copy struct {
	Name  string
	ID    string
	State string    // in the words of a mirror round
	Error string    // a sentence
	Since time.Time // since when it has not been current, as far as is known
	ToGo  Amount    // what is recorded and not there
	Unmet bool      // by any round, so that nobody knows what is there
	// Moving says that a round is bringing it something, or that a round which
	// does is sure to come.
	Moving bool
	// Slow says that the settings limit its link, and that it gets there: how much is
	// still to go is told with it. Slower is that it would take more than a year.
	Slow, Slower bool
	// Stuck is since when nothing came over such a link, where that is too long.
	Stuck time.Time
	// Short is why it cannot have some files, "" where it can have all.
	Short string

	// Undrilled is since when no practice recovery from it has passed, where that is
	// too long; DrillDamaged that the last one did not find the right bytes.
	Undrilled    time.Time
	DrillDamaged bool
	DrillTried   time.Time
	DrillFailure string
}

// Returned is a copy that a person gave up and that is within reach again.
type Returned struct {
	Name string
	ID   string
	Day  string // on which it was given up
	At   string // where it is
	Next string
}

// Round is how the rounds of one kind stand.
type Round struct {
	Kind    string
	Failed  string    // why the last one could not be done; "" where it could
	At      time.Time // when the last one began; zero for never
	Done    time.Time // when the last one began that came to an end; zero for never
	Overdue time.Time // when one should have run that did not; zero where none is overdue
	// Scheduled says that the settings name a time for it.
	Scheduled bool
	Service   string // how the service stands, as a sentence
}

// States of a copy, as a mirror round names them.
const (
	current     = "current"
	behind      = "behind"
	away        = "away"
	unreachable = "unreachable"
)
