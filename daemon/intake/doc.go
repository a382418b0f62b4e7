// Package intake brings photos from a camera card, or a phone's folder, into
// a working folder. Call [ReadCard], then [Propose], then [Plan.File]. Whether a card
// may be wiped, package maywipe says.
//
// The way in has three steps, and a person stands between the second and the
// third:
//
//   - Reading ([ReadCard]). Every file on the card is read once, by the same
//     rules as a working folder, and its SHA-256 is taken. The card is never
//     written to.
//   - Proposing ([Propose]). What the archive has already, by content, is left
//     out. What lies in the archive's own folders goes where it lies, as on a
//     computer that was lost and turned up. The rest falls into visits: pictures taken close together in time
//     and place. Each visit is given a site by the position in its pictures,
//     by a track that a GPS receiver wrote, or by the order in which the sites
//     were walked in other years; each picture a view, by its name, by whether
//     it shows sky (see package sky), or by its turn; and each file a name in
//     the archive's own manner.
//   - Filing ([Plan.File]). Files are copied to a temporary name, written
//     out, read back, and only then given their own name. Nothing is ever
//     overwritten. What has no site stays on the card and is listed.
//
// A proposal that is not certain is no proposal: a picture with a wrong site is
// worse than one that waits for a person, who names the site with an option.
//
// [Judge] answers whether a card may be wiped, file by file. It trusts no name
// and no time: only the SHA-256 of the bytes that are on the card now.
package intake

import (
	"errors"
	"fmt"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/card"
	"linecamp/manifest/geo"
	"linecamp/manifest/layout"
	"linecamp/manifest/tally"
	"linecamp/verify/figures"
)

var (
	// ErrCard marks a card that is not there or cannot be read at all.
	ErrCard = errors.New("there is no card to read")
	// ErrAsked marks a wish that cannot be granted: a site that is none, an
	// override that would hit more than was meant.
	ErrAsked = errors.New("this cannot be done as asked")
	// ErrTrack marks a track that is no GPX or has no point with a time.
	ErrTrack = errors.New("there is no usable track in it")
)

// What proposed something.
const (
	ByPosition = "position" // the position in the pictures themselves
	ByTrack    = "track"    // a GPX track, by time
	ByOrder    = "order"    // the order of other years
	ByName     = "name"     // a word in the file's name
	ByContent  = "content"  // sky or no sky
	ByPerson   = "told"     // an option
	ByFolders  = "folders"  // the folders it lies in, which are those of the archive
)

// What becomes of a file on the plan.
const (
	Planned = "planned"
	Filed   = "filed"
	Failed  = "failed"
)

// Archive is one archive that files may go to.
type Archive struct {
	Name   string
	Folder string        // its working folder
	Tally  *tally.Result // what is in it
	Layout *layout.Layout
	Cards  *card.Set                  // what is declared of its sites; may be nil
	Units  geo.Units                  // what its distances are printed in
	Near   float64                    // meters from a site that still are at the site; 0 for the usual
	Has    func(manifest.Digest) bool // whether any version of any site has the content
}

// Options say what a person wants.
type Options struct {
	Site     string                  // the site of the visits; "" proposes one
	Date     string                  // their date, YYYY-MM-DD; "" takes the camera's
	View     string                  // the view of their only picture; "" proposes one
	Visits   []int                   // only these, as numbered in the plan that was shown; nil for all
	Shown    []Shown                 // that plan; nil where none was shown
	Near     float64                 // meters from a site that still are at the site; 0 for what its card or its archive says
	Track    *Track                  // nil for none
	Clock    time.Duration           // added to the camera's time
	Zone     *time.Location          // of cameras that write no offset; nil for this machine's
	Now      time.Time               // pictures dated later are of a wrong clock; zero: never
	Thumbs   bool                    // make small pictures, for a sheet
	Progress func(done, total int64) // in bytes; may be nil
}

// ParseNear reads how far from a site still is the site, "150ft" or "50m", in
// meters.
func ParseNear(s string) (float64, error) {
	d, err := geo.ParseLength(s)
	if err == nil && (d <= 0 || d > card.MostMeters) {
		err = fmt.Errorf("%s cannot be how far a site reaches; write a distance such as 150ft or 50m, of at most %d m", s, card.MostMeters)
	}
	return d, err
}

const (
	defaultNear = figures.Meters
	pause       = 15 * time.Minute // between pictures of two visits
)
