// Package sheet is the recovery sheet of an archive: what it says today, and whether
// the one on paper still says it. Begin with [Draw]; once it is printed, [NotePrinted]
// puts that on file, and [Printed] tells whether it still fits.
package sheet

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/config"
	"linecamp/daemon/reach"
	"linecamp/daemon/show/paper"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/wholefile"
	"linecamp/manifest/words"
)

// PaperReport is a sheet that was drawn, or put on file as printed.
type PaperReport struct {
	Archive string     `json:"archive"`
	File    string     `json:"file"`
	Printed *time.Time `json:"printed"` // null where it was only drawn
	// Keyless are buckets whose key's id is not known here, so that a person
	// writes it onto the sheet.
	Keyless []string `json:"keyless"`
	// Placeless are copies of which the settings do not say where they are kept.
	Placeless []string `json:"placeless"`
}

// Wants is false: what is left open on a sheet can be written by hand.
func (PaperReport) Wants() bool { return false }

// printed is what is on file of the recovery sheet.
type printed struct {
	At    time.Time `json:"printed"`
	Facts string    `json:"facts"` // what it said of the copies, as paper.Sheet.Facts
	// Keys are the ids of the buckets' keys that were known then, by copy id.
	Keys map[string]string `json:"keys"`
}

const keySheet = "recovery sheet printed"

// Draw draws the recovery sheet into a new file.
func Draw(a *archive.Archive, file string) (PaperReport, error) {
	rep := PaperReport{Archive: a.Config.Name, File: file, Keyless: []string{}, Placeless: []string{}}
	s, err := sheet(a)
	if err != nil {
		return rep, err
	}
	for _, p := range s.Places {
		if p.Bucket && p.Key == "" {
			rep.Keyless = append(rep.Keyless, p.Name)
		}
		if p.Where == "" {
			rep.Placeless = append(rep.Placeless, p.Name)
		}
	}
	return rep, newFile(file, func(w io.Writer) error { return paper.Recovery(w, s) })
}

// sheet is what the recovery sheet says today. No copy is opened for it.
func sheet(a *archive.Archive) (paper.Sheet, error) {
	self, err := a.Self()
	if err != nil {
		return paper.Sheet{}, err
	}
	s := paper.Sheet{
		Archive: a.Config.Name, Title: cmp.Or(a.Config.Title, a.Config.Name), Folder: a.Config.Folder, Machine: self.Machine,
		Day: a.Now(), Size: paper.Letter,
	}
	if a.Config.Paper == config.PaperA4 {
		s.Size = paper.A4
	}
	var known bool
	if s.ID, known, err = a.Ledger.Value(reach.KeyID); err != nil {
		return s, fmt.Errorf("the ledger: %w", err)
	} else if !known {
		return s, fmt.Errorf("no copy of %s was met by this computer yet, so there is nothing to find back. Run `linecamp mirror` first", a.Config.Name)
	}
	if seal, err := a.Cache.Seal(); err == nil && seal.Len() > 0 {
		s.Seal = seal.Printed().String()
	}
	keys := keyIDs(a)
	for _, c := range a.Config.Copies {
		p := paper.Place{Name: c.Name, Where: c.Where, Address: c.Place(), Region: c.Region, Bucket: !c.Can().Local, Key: keys[c.ID]}
		s.Places = append(s.Places, p)
	}
	return s, nil
}

// errThere marks a file whose name is taken.
var errThere = errors.New("is there")

// newFile writes a file that was not there, whole or not at all.
func newFile(file string, write func(io.Writer) error) error {
	draft, err := wholefile.Begin(file, 0)
	if err != nil {
		return fmt.Errorf("%s cannot be written: %w", file, err)
	}
	defer draft.Drop()
	if err := write(draft); err != nil {
		return fmt.Errorf("%s cannot be written: %w", file, err)
	}
	if err := draft.Create(); errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s %w already, and is left as it is; choose another name", file, errThere)
	} else if err != nil {
		return fmt.Errorf("%s cannot be written: %w", file, err)
	}
	return nil
}

// mostSheet is more than any sheet has.
const mostSheet = 16 << 20

// NotePrinted puts on file that the recovery sheet in a file was printed.
func NotePrinted(a *archive.Archive, file string) (PaperReport, error) {
	rep := PaperReport{Archive: a.Config.Name, File: file, Keyless: []string{}, Placeless: []string{}}
	f, err := os.Open(file)
	if errors.Is(err, fs.ErrNotExist) {
		err = fault.Say(err, "there is no file %s; draw the sheet first: `linecamp paper recovery %s`", file, words.Quote(file))
	}
	if err != nil {
		return rep, err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, mostSheet))
	if err != nil {
		return rep, fmt.Errorf("%s: %w", file, err)
	}
	facts, err := paper.ReadFacts(b)
	if err != nil {
		return rep, fmt.Errorf("%s %w", file, err)
	}
	s, err := sheet(a)
	if err != nil {
		return rep, err
	}
	if facts != s.Facts() {
		return rep, fmt.Errorf("%s tells of other copies than the settings do now; draw it again: `linecamp paper recovery FILE.pdf`", file)
	}
	now := a.Now().UTC().Truncate(time.Second)
	rep.Printed = &now
	return rep, a.Remember(keySheet, printed{At: now, Facts: facts, Keys: keyIDs(a)})
}

// keyIDs are the ids of the buckets' keys that this user can see, by copy id.
func keyIDs(a *archive.Archive) map[string]string {
	ids := map[string]string{}
	for _, c := range a.Config.Copies {
		if id, _ := c.KeyID(); id != "" {
			ids[c.ID] = id
		}
	}
	return ids
}

// Printed says when a recovery sheet was last put on file as printed, and
// whether it still fits the copies; zero for never.
func Printed(a *archive.Archive) (at time.Time, fits bool, err error) {
	var p printed
	if err := a.Recall(keySheet, &p); err != nil || p.At.IsZero() {
		return time.Time{}, false, err
	}
	s, err := sheet(a)
	if err != nil || p.Facts != s.Facts() {
		return p.At, false, nil
	}
	for copyID, id := range keyIDs(a) {
		if was, known := p.Keys[copyID]; known && was != id {
			return p.At, false, nil
		}
	}
	return p.At, true, nil
}
