// Package levels says where an archive stands on the Levels of Digital Preservation
// of the National Digital Stewardship Alliance, version 2 (2019): a grid of five
// areas by four levels that archives are measured by. Call [Of].
//
// [Of] derives a [Report] from [Facts], which are numbers and days that linecamp
// has. Each level of an area asks for several things. A thing is met, not met, or
// not known: what only a person can answer is not known, and is never counted as
// met. An area's level is the highest up to which everything is met.
//
// What each level asks for is the published grid (ndsa.org/publications/levels-of-digital-preservation),
// held against quotations of it, in our words.
package levels

import (
	"slices"
	"time"
)

// Facts are what linecamp knows of an archive.
type Facts struct {
	Now        time.Time
	Copies     []Copy
	Recorded   int       // sites with a version
	Sealed     int       // lines of the seal
	LastVerify time.Time // when a check of everything last came to its end; zero for never
	Scheduled  bool      // checks run on a schedule: a service runs here
	Damaged    int       // damaged files on record
	Deep       time.Time // when photos were last decoded in full; zero for never
	Sheet      time.Time // when the recovery sheet was printed that fits; zero for none
}

// Copy is one copy beside the working folder.
type Copy struct {
	Name     string
	Bucket   bool   // in S3-compatible storage, else a drive
	Where    string // in the office's own words; "" for not told
	Whole    bool   // it has everything that is recorded
	Files    int
	ReadBack int       // of Files: read back and matched
	Oldest   time.Time // the read-back that was longest ago; zero where none was
	Drilled  time.Time // when a practice recovery from it last passed; zero for never
}

// Answer says whether something that a level asks for is so.
type Answer string

// The answers.
const (
	Met     Answer = "met"
	NotMet  Answer = "not met"
	Unknown Answer = "not known"
)

// Point is one thing that a level asks for.
type Point struct {
	Level    int    `json:"level"`
	Asks     string `json:"asks"`
	Answer   Answer `json:"answer"`
	Evidence string `json:"evidence"` // numbers and days, or who could answer
	// Next is what would meet it; "" where it is met.
	Next string `json:"next,omitempty"`
}

// Area is one area of the grid.
type Area struct {
	Area     string   `json:"area"`
	Level    int      `json:"level"`    // 0 to 4
	Evidence []string `json:"evidence"` // of what is met, to the next level
	Next     string   `json:"next"`     // the one step to the next level; "" at the top
	Points   []Point  `json:"points"`
}

// Report is the whole grid.
type Report struct {
	Archive string `json:"archive"`
	Source  string `json:"source"`
	Areas   []Area `json:"areas"`
}

// Source names the grid.
const Source = "NDSA Levels of Digital Preservation, version 2 (2019)"

// Of derives the grid from facts. The same facts give the same grid.
func Of(archive string, f Facts) Report {
	r := Report{Archive: archive, Source: Source}
	for _, a := range []struct {
		name   string
		points func(Facts) []Point
	}{
		{"storage", storage}, {"integrity", integrity}, {"control", control}, {"metadata", metadata}, {"content", content},
	} {
		r.Areas = append(r.Areas, area(a.name, a.points(f)))
	}
	return r
}

// area finds how far everything is met.
func area(name string, points []Point) Area {
	a := Area{Area: name, Level: 4, Evidence: []string{}, Points: points}
	for _, p := range points {
		if p.Answer != Met && p.Level <= a.Level {
			a.Level = p.Level - 1
		}
	}
	for _, p := range points {
		if p.Level <= a.Level+1 && p.Answer == Met {
			if !slices.Contains(a.Evidence, p.Evidence) { // one thing may answer two points
				a.Evidence = append(a.Evidence, p.Evidence)
			}
		} else if a.Next == "" && p.Level == a.Level+1 && p.Answer != Met {
			a.Next = p.Next
		}
	}
	return a
}

// Wants is false: the grid measures, and finds no fault.
func (Report) Wants() bool { return false }
