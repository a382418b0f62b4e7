package manifest

import (
	"fmt"
	"slices"
	"time"
	"unicode/utf8"

	"linecamp/manifest/names"
)

// RecordFormat is the first thing a reader looks for in a record.
const RecordFormat = "linecamp record 1"

// Kind says what a path was understood as.
type Kind string

// The kinds of files.
const (
	KindPhoto     Kind = "photo"     // a picture
	KindNote      Kind = "note"      // a document kept with a visit or a site
	KindCompanion Kind = "companion" // a raw or HEIC partner of a picture, or its sidecar
	KindCard      Kind = "card"      // site.toml, pasture.toml, GPX
	KindOther     Kind = "other"     // kept, not understood
)

// Record is what a version says beyond paths and digests. It is stored with the
// version, under RecordPath, and every path of the version has an entry.
type Record struct {
	// Site and Pasture are the names as people write them. Base is the raw path
	// of the folder that logical paths are relative to, itself relative to the
	// working folder, "" for the working folder.
	Site, Pasture, Base string

	Paths     map[string]Entry // by logical path
	Decisions []Decision       // what persons decided, oldest first
}

// Entry is what a record says of one path.
type Entry struct {
	Bytes    int64     // size
	Modified time.Time // of the file, UTC, nanoseconds; kept within the years 1 to 9999
	Raw      []byte    // the raw path, where the logical one was escaped; else nil
	Visit    string    // "2019-06-21", or "2019", or "" where nothing tells
	View     string    // which picture it is; "" for what is none
	Kind     Kind
	With     string // of a companion: the logical path of its photo or note
}

// Decision is something a person decided.
type Decision struct {
	What   string    // one of those below
	Who    string    // as the person gave it
	When   time.Time // UTC, whole seconds
	Why    string
	Years  []string // what it is about, each where it applies
	Season string
	View   string
	Path   string // a file's or folder's; of Joined and Apart, the other site's object
}

// The decisions there are.
const (
	Explained = "explained" // the reason for missing years, or for a finding
	Withdrawn = "withdrawn" // an explanation, or some years of one, holds no longer
	Accepted  = "accepted"  // a change
	Joined    = "joined"    // another site is this one's stake under an earlier name, or this very site up to its closed line
	Apart     = "apart"     // another site is another stake, whatever was said before
)

// check reports the first rule that the record breaks. Callers wrap it.
func (r *Record) check() error {
	if r.Base != "" {
		if why := rawPathFault(r.Base); why != "" {
			return fmt.Errorf("the base %q %s", names.Clip(r.Base), why)
		}
	}
	for p, e := range r.Paths {
		if err := r.checkEntry(p, e); err != nil {
			return fmt.Errorf("the path %q: %w", names.Clip(p), err)
		}
	}
	for i, d := range r.Decisions {
		if err := d.check(); err != nil {
			return fmt.Errorf("decision %d: %w", i+1, err)
		}
	}
	return nil
}

// RawPath is where a file lies below the working folder: base is its record's, e its
// entry there, whose Raw has the true bytes of a name that was altered.
func RawPath(base, logical string, e Entry) string {
	name := logical
	if len(e.Raw) > 0 {
		name = string(e.Raw)
	}
	if base == "" {
		return name
	}
	return base + "/" + name
}

func (r *Record) checkEntry(p string, e Entry) error {
	if why := pathFault(p); why != "" {
		return fmt.Errorf("it %s", why)
	}
	if reserved(p) {
		return fmt.Errorf("it is reserved, and a record says nothing of those")
	}
	if e.Bytes < 0 {
		return fmt.Errorf("its size is %d", e.Bytes)
	}
	if len(e.Raw) > 0 {
		if logical, escaped := Logical(string(e.Raw)); !escaped || logical != p {
			return fmt.Errorf("its raw name %q would not be escaped like that", names.Clip(string(e.Raw)))
		}
	}
	if !day(e.Visit) && !year(e.Visit) && e.Visit != "" {
		return fmt.Errorf("its visit %q is no day and no year", names.Clip(e.Visit))
	}
	if !utf8.ValidString(e.View) {
		return fmt.Errorf("its view %q is not valid UTF-8", names.Clip(e.View))
	}
	switch e.Kind {
	case KindPhoto, KindNote, KindCompanion, KindCard, KindOther:
	default:
		return fmt.Errorf("its kind %q is none", names.Clip(string(e.Kind)))
	}
	if e.With == "" {
		return nil
	}
	if e.Kind != KindCompanion || e.With == p {
		return fmt.Errorf("it is no companion, yet it is said to go with %q", names.Clip(e.With))
	}
	if _, ok := r.Paths[e.With]; !ok {
		return fmt.Errorf("what it goes with, %q, is not there", names.Clip(e.With))
	}
	return nil
}

func (d *Decision) check() error {
	switch d.What {
	case Explained, Withdrawn, Accepted, Joined, Apart:
	default:
		return fmt.Errorf("%q is none of %s, %s, %s, %s, %s", names.Clip(d.What), Explained, Withdrawn, Accepted, Joined, Apart)
	}
	if d.When.IsZero() {
		return fmt.Errorf("it does not say when")
	}
	for _, s := range slices.Concat([]string{d.Who, d.Why, d.Season, d.View, d.Path}, d.Years) {
		if !utf8.ValidString(s) {
			return fmt.Errorf("%q is not valid UTF-8", names.Clip(s))
		}
	}
	if slices.Contains(d.Years, "") {
		return fmt.Errorf("one of its years is empty")
	}
	return nil
}

func day(s string) bool {
	_, err := time.Parse(time.DateOnly, s)
	return err == nil
}

func year(s string) bool { return len(s) == 4 && names.Digits(s) }
