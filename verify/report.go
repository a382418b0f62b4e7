package verify

import "linecamp/manifest/geo"

// Report is a whole verification.
type Report struct {
	Archive string       `json:"archive"`
	Copies  []CopyReport `json:"copies"`
	Years   []Year       `json:"years"`
	// Findings are about what is there, most urgent first; present where the
	// years were judged.
	Findings []Finding `json:"findings,omitempty"`
	// Deep is what a full decode of the photos came to; only where it was asked for.
	Deep *DeepReport `json:"deep,omitempty"`
	// Joined are sites that are judged with the earlier ones they took over;
	// Alike are asked about, and are no fault.
	Joined []JoinedSite `json:"joined,omitempty"`
	Alike  []Alike      `json:"alike,omitempty"`
	Judged bool         `json:"-"` // the years were judged; else Years says nothing
	// YearsError is why the years could not be judged, though they were to be.
	YearsError string `json:"years_error,omitempty"`
	// Nothing: no version of anything is recorded yet, so nothing was compared.
	Nothing bool      `json:"nothing_recorded,omitempty"`
	Asked   string    `json:"-"`                // the one copy that was asked for; "" for all
	Folder  string    `json:"folder,omitempty"` // the working folder, where this machine has it
	Units   geo.Units `json:"-"`                // what distances are printed in
}

// Share is a number of people's files and their bytes.
type Share struct {
	Files int   `json:"files"`
	Bytes int64 `json:"bytes"`
}

// Depths of a check.
const (
	Quick = "quick"
	Full  = "full"
)

// CopyReport is what one copy, or the working folder, was found to hold.
// Numbers are of people's files; linecamp's own are checked beside them.
type CopyReport struct {
	Copy  string `json:"copy"`
	Depth string `json:"depth"` // Quick or Full
	Files int    `json:"files"` // what the manifests say this copy holds
	Bytes int64  `json:"bytes"`
	// ReadBack, Matched, Confirmed and Unread share out Files, but for damage:
	// the bytes were read from here and their SHA-256 matched; a quick check
	// agrees with what was read before; the S3 service checked our SHA-256 on
	// upload and still reports the same; not looked at this time.
	ReadBack  Share `json:"read_back"`
	Matched   Share `json:"matched"`
	Confirmed Share `json:"confirmed"`
	Unread    Share `json:"unread"`

	// Where a seal on paper was given: the copy's log still begins with the lines
	// it was made of, or a log of another history that it keeps does; or what is wrong
	// with that.
	SealHolds   bool   `json:"seal_holds,omitempty"`
	SealHistory string `json:"seal_history,omitempty"`
	SealFault   string `json:"seal_fault,omitempty"`

	Damage     []Damage       `json:"damage"`
	Behind     []Behind       `json:"behind,omitempty"`
	Standard   []string       `json:"standard,omitempty"`   // rules of OCFL the copy breaks, beyond the damage
	Unfinished []string       `json:"unfinished,omitempty"` // objects whose root pair the next mirror rewrites
	Error      string         `json:"error,omitempty"`      // the check could not be done, or not to its end
	Away       bool           `json:"away,omitempty"`       // the drive is not plugged in, within the days its owner allows
	Waiting    int            `json:"waiting,omitempty"`    // working: changed since the last mirror
	Absent     int            `json:"absent,omitempty"`     // working: recorded and no longer there; the years tell
	Passed     int            `json:"passed,omitempty"`     // litter of operating systems and a newer linecamp's own on the copy, passed over
	Downloaded int64          `json:"downloaded,omitempty"` // bytes read from S3, to be charged to the allowance
	Heads      map[string]int `json:"-"`                    // newest committed version of each object on this copy
}

// Behind is an object of which a copy lacks the newest versions.
type Behind struct {
	Object string `json:"object"`
	Site   string `json:"site"`
	Have   int    `json:"have"`
	Want   int    `json:"want"`
}
