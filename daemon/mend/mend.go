// Package mend replaces damaged bytes by good ones from another copy.
package mend

import (
	"context"
	"errors"
	"io"
	"time"

	"linecamp/manifest"
	"linecamp/verify"
)

// In is what mend works with.
type In struct {
	Archive string
	Damage  []verify.Damage // from a verification just done, or remembered
	// Unfinished names objects, by copy name, whose root pair is to be rewritten.
	Unfinished map[string][]string
	Copies     []verify.Copy                                    // every copy in reach, to mend and to take from
	Only       string                                           // mend only this copy (or "working"); "" is all
	Folder     string                                           // the working folder; "" where there is none
	Memory     verify.Memory                                    // may be nil
	Aside      string                                           // local folder for bad bytes set aside
	Expected   func(object string) (*manifest.Inventory, error) // newest known anywhere; may be nil
	Now        func() time.Time
	Progress   func(done, total int64)
}

// Report is what was mended, and what was not.
type Report struct {
	Archive  string     `json:"archive"`
	Mended   []Mended   `json:"mended"`
	Unmended []Unmended `json:"unmended"`
	Strays   int        `json:"strays"` // left where they are
}

// Mended is one file put right.
type Mended struct {
	Copy    string `json:"copy"`
	Site    string `json:"site"`
	Path    string `json:"path"`
	From    string `json:"from"` // the copy the good bytes came from, or "working"
	Object  string `json:"object,omitempty"`
	Content string `json:"content,omitempty"`
}

// Unmended is one file that could not be put right.
type Unmended struct {
	Copy    string `json:"copy"`
	Site    string `json:"site"`
	Path    string `json:"path"`
	Reason  string `json:"reason"`
	Nowhere bool   `json:"nowhere"` // no good bytes on any copy in reach, nor in the working folder
}

// Wants reports whether something is still damaged.
func (r Report) Wants() bool { return len(r.Unmended) > 0 }

// Print writes the report for a person.
func (r Report) Print(w io.Writer) {}

var errSoon = errors.New("not built yet")

// Run mends what can be mended.
func Run(ctx context.Context, in In) (Report, error) { return Report{}, errSoon }
