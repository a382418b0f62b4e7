// Package drill practices the recovery: it brings a part of the archive back from a
// copy, as a machine would that has only the copy's address and its keys, and says
// whether it is all right and how long a whole recovery would take. Begin with [Run].
//
// Each copy is opened as `restore --from` opens a root: nothing that this machine
// remembers serves it, neither the ledger nor a cached inventory (attempt.go). What is
// there is read from the copy's own inventories (read.go). The restore engine brings
// the files into a folder of its own, each checked against the copy's manifest, and
// each goes again as soon as it has come. Then every file is held against the working
// folder (compare.go). A [Step] names how far that came where it failed.
//
// What is downloaded from a bucket counts against what its settings let be downloaded
// to check it, and a drill keeps within that (meter.go).
//
// The ledger remembers for each copy when a drill last succeeded, and how the last
// one went that did not ([MemoryOf]); from that follows when a person has to be told
// ([Lack]).
package drill

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"time"

	"linecamp/daemon/archive"
)

// Options say what is practiced. Without any, one site and its newest visit, from
// each copy.
type Options struct {
	Copy       string // only this copy; "" for each
	Site       string // all of this site: its name, folder or slug, or the beginning of one
	Everything bool   // all there is, instead of Site
}

// ErrAsked: the options exclude each other.
var ErrAsked = errors.New("a drill is of one site or of everything")

// Step is a part of a recovery.
type Step string

// The steps, in their order.
const (
	Opening   Step = "opening"
	Reading   Step = "reading the inventory"
	Fetching  Step = "fetching"
	Comparing Step = "comparing"
)

// Report is what came of a drill.
type Report struct {
	Archive string `json:"archive"`
	Copies  []Copy `json:"copies"`
}

// Copy is the practice recovery from one copy.
type Copy struct {
	Copy  string `json:"copy"`
	Site  string `json:"site"`            // "" for everything
	Visit string `json:"visit,omitempty"` // where only one of the site was tried: its newest
	// Files and Bytes are what came back as the copy's manifest says.
	Files   int     `json:"files"`
	Bytes   int64   `json:"bytes"`
	Seconds float64 `json:"seconds"`
	// Different are files with other bytes than the manifest says, or than your
	// folder has; Missing are those that did not come back.
	Different []string `json:"different"`
	Missing   []string `json:"missing"`
	// Compared is how many files were held against the working folder.
	Compared int `json:"compared"`
	// Whole is a recovery of all that this copy holds, as far as can be told.
	Whole Whole `json:"whole"`
	// LeftOut is what the allowance did not let be fetched.
	LeftOut Amount `json:"left_out"`
	// Behind is how many versions the copy's seal names that are not there.
	Behind int  `json:"behind,omitempty"`
	Passed bool `json:"passed"`
	// Step is where it failed, and Error why; "" where it did not.
	Step  Step   `json:"step,omitempty"`
	Error string `json:"error,omitempty"`
	// Untried says why nothing was tried; Away that the drive is not plugged in, and
	// may be.
	Untried string `json:"untried,omitempty"`
	Away    bool   `json:"away,omitempty"`
}

// Amount is a number of files and their size.
type Amount struct {
	Files int   `json:"files"`
	Bytes int64 `json:"bytes"`
}

// Whole is what a whole recovery would bring, and how long it would take.
type Whole struct {
	Amount
	Seconds float64 `json:"seconds"`
}

// Differs reports whether bytes differ or something is missing.
func (c Copy) Differs() bool { return len(c.Different)+len(c.Missing) > 0 }

// Wants reports whether a copy did not pass. A drive that is away does not count, as
// long as another copy was tried.
func (r Report) Wants() bool {
	passed := false
	for _, c := range r.Copies {
		if !c.Passed && !c.Away {
			return true
		}
		passed = passed || c.Passed
	}
	return !passed
}

// Failed reports whether a drill could not be brought to its end.
func (r Report) Failed() bool {
	for _, c := range r.Copies {
		if c.Step != "" && !c.Differs() {
			return true
		}
	}
	return false
}

// Run practices, one copy after another, so that each is measured alone. What befell
// one is in the report; the error is for ctx, the options and the ledger.
func Run(ctx context.Context, a *archive.Archive, o Options, p archive.Progress) (Report, error) {
	r := Report{Archive: a.Config.Name, Copies: []Copy{}}
	if o.Site != "" && o.Everything {
		return r, ErrAsked
	}
	picked, err := a.Opener().Pick(o.Copy)
	if err != nil {
		return r, err
	}
	sweep(a.Dir, a.Now())
	var nosite error
	found := false
	var all []*attempt
	for _, c := range picked {
		t := &attempt{Archive: a, asked: o, copy: c, progress: p, left: -1,
			Copy: Copy{Copy: c.Name, Different: []string{}, Missing: []string{}}}
		if err := t.run(ctx); err != nil {
			return r, err
		}
		if t.nosite != nil {
			nosite = t.nosite
		} else if t.Site != "" {
			found = true
		}
		all = append(all, t)
		r.Copies = append(r.Copies, t.Copy)
	}
	if nosite != nil && !found {
		return r, nosite // the name was wrong, and no copy is to blame
	}
	for _, t := range all {
		if err := remember(a, t.copy.ID, t.Copy); err != nil {
			return r, err
		}
	}
	return r, nil
}

// scratch is how the folders begin that drills bring files back into, in the state
// folder.
const scratch = "drill-"

// sweep removes the folders that drills left which were killed.
func sweep(dir string, now time.Time) {
	left, _ := filepath.Glob(filepath.Join(dir, scratch+"*"))
	for _, at := range left {
		if info, err := os.Lstat(at); err == nil && info.IsDir() && now.Sub(info.ModTime()) > 24*time.Hour {
			_ = os.RemoveAll(at)
		}
	}
}
