// Package restore brings an archive's files back, every byte checked.
package restore

import (
	"context"
	"errors"
	"io"
	"time"

	"linecamp/manifest/store"
	"linecamp/verify"
)

// Source is a copy to restore from.
type Source struct {
	Name string
	Root store.Root
}

// Options say what is brought back, and where to.
type Options struct {
	Archive      string         // its name, for the report; "" takes the source's
	Sites        []verify.Site  // what to bring back
	Everything   bool           // all objects, instead of Sites
	Into         string         // folder to restore into; made if it is not there
	Year         string         // only this year's visits: "2019"
	AsOf         string         // "2019-06-21", the end of that local day, or RFC 3339
	EveryVersion bool           // also replaced bytes, named by version
	Location     *time.Location // of AsOf; nil is time.Local
	Workers      int
	Progress     func(done, total int64) // bytes
}

// ErrAsked marks options that cannot be obeyed: a date that is none, two
// wishes that exclude each other.
var ErrAsked = errors.New("cannot be asked for")

// Report is what was brought back.
type Report struct {
	Archive string   `json:"archive"`
	Into    string   `json:"into"`
	Files   int      `json:"files"` // delivered, or there already with the same bytes
	Bytes   int64    `json:"bytes"`
	Already int      `json:"already"` // of Files: there already
	Failed  []Failed `json:"failed"`
	// Missing are versions the seal names and no source has.
	Missing []Missing `json:"missing_versions,omitempty"`
	// Sources that could not be used to the end, each with the reason.
	Trouble []string `json:"trouble,omitempty"`
}

// Failed is a file that could not be delivered.
type Failed struct {
	Path   string `json:"path"`
	Reason string `json:"reason"`
}

// Missing is a version that exists, or existed, somewhere else.
type Missing struct {
	Object  string    `json:"object"`
	Site    string    `json:"site"`
	Version int       `json:"version"`
	Created time.Time `json:"created"`
}

// Wants reports whether something was not delivered.
func (r Report) Wants() bool { return len(r.Failed) > 0 || len(r.Missing) > 0 }

// Print writes the report for a person.
func (r Report) Print(w io.Writer) {}

var errSoon = errors.New("not built yet")

// Run restores from the sources, the first being the preferred one.
func Run(ctx context.Context, sources []Source, o Options) (Report, error) {
	return Report{}, errSoon
}
