// Package reach opens an archive's copies. Begin with [Opener.Open]: it opens
// all copies at once, each within a bounded time. A copy that does not open is
// carried along with the reason, and holds up none of the others; [Copy.State]
// names the reason in one word (states.go):
//
//   - away: a drive that is not plugged in, within the days its owner allows,
//     counted from when it was last met (away.go);
//   - unreachable: out of reach, and nobody said it may be;
//   - failed: reached, and not what it should be.
//
// A drive is found by the id of its copy, wherever it is mounted (drive.go). A copy
// that no settings describe is opened by [RootAccess.Open].
package reach

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/ledger"
	"linecamp/daemon/link"
	"linecamp/manifest/store"
)

// How long opening a copy may take: a drive that has to spin up, a service far
// away. Status asks for less.
const (
	Patient = 45 * time.Second
	Glance  = 4 * time.Second
)

// ErrNoCopy marks a copy's name that the config does not have.
var ErrNoCopy = errors.New("no such copy")

// ErrNoReach: none of the copies that could do the work is within reach.
var ErrNoReach = errors.New("no copy is within reach")

// ErrNotUsed: a person gave the copy up or took it out of the settings.
var ErrNotUsed = errors.New("it is no longer used")

// Copy is one copy of the settings, opened or with the reason why not.
type Copy struct {
	config.Copy
	Root store.Root // nil if Err is set
	Err  error
	// Away: the drive is not plugged in, and may be for some days yet.
	Away bool
	Seen ledger.CopySeen
	// Link is the way to a bucket, nil for others.
	Link *link.Link
	// After is how the round at hand left it; nil before.
	After *After
}

// After is how a round left a copy.
type After struct {
	State string // Current and so on
	Error string
}

// Copies are the copies for one piece of work, in the order of the settings.
type Copies struct {
	All  []*Copy
	ID   string // the archive's uuid
	Name string // its name in object ids
}

// Opener opens the copies of one archive.
type Opener struct {
	Archive config.Archive
	Ledger  *ledger.Ledger
	Now     func() time.Time
	Freely  bool // no limit of a link holds anything up: photos are brought back
	// Anytime: a large file is put there whatever the hours and what is left of the
	// allowance, as a mend does.
	Anytime bool
}

// Close closes those that are open.
func (r *Copies) Close() {
	for _, c := range r.All {
		if c.Root != nil {
			c.Root.Close()
			_ = c.Link.Flush() // at worst less is known to be used than was
		}
	}
}

// Open returns those that can be worked with.
func (r *Copies) Open() []*Copy {
	return slices.DeleteFunc(slices.Clone(r.All), func(c *Copy) bool { return c.Root == nil })
}

// Named returns the copy of that name, nil for none.
func (r *Copies) Named(name string) *Copy {
	for _, c := range r.All {
		if c.Name == name {
			return c
		}
	}
	return nil
}

// Nearest returns the open ones as sources, drives first: they are quick, and
// cost nothing to read.
func (r *Copies) Nearest() []*Copy {
	open := r.Open()
	slices.SortStableFunc(open, func(a, b *Copy) int { return rank(a) - rank(b) })
	return open
}

func rank(c *Copy) int {
	if c.Can().Local {
		return 0
	}
	return 1
}

// None says that nothing can be done because no copy is there, and why.
func (r *Copies) None() error {
	var why []string
	for _, c := range r.All {
		if c.Err != nil {
			why = append(why, c.Name+": "+c.Err.Error())
		}
	}
	if len(why) == 0 {
		return ErrNoReach
	}
	return fmt.Errorf("%w (%s)", ErrNoReach, strings.Join(why, "; "))
}

// Open opens copies, all at once, each within limit, and takes note of when
// each was met. What stands in the way of one is said in its Err; the error
// returned is for ctx and the ledger.
func (o Opener) Open(ctx context.Context, copies []config.Copy, limit time.Duration) (*Copies, error) {
	r := &Copies{}
	var opening sync.WaitGroup
	for _, c := range copies {
		h := &Copy{Copy: c, Link: link.Of(c, o.Ledger, o.Now)}
		r.All = append(r.All, h)
		opening.Go(func() {
			if err := o.inUse(c); err != nil {
				h.Err = err
				return
			}
			h.Root, h.Err = o.one(ctx, c, h.Link, limit)
		})
	}
	opening.Wait()
	if err := ctx.Err(); err != nil {
		r.Close()
		return nil, err
	}
	if err := o.oneArchive(ctx, r); err != nil {
		r.Close()
		return nil, err
	}
	for _, h := range r.All {
		if err := o.seen(h); err != nil {
			r.Close()
			return nil, fmt.Errorf("the ledger: %w", err)
		}
	}
	return r, nil
}
