// Package marks notes which versions stand on a copy without a line in the seal, or may
// stand there. [Begun] are those that a copy may hold the beginning of, or the whole: a mark
// is set before a version is made, and by a look that finds one; it goes once the version is
// sealed. [PassedOver] are those that were begun on a drive, were not there, and were made
// elsewhere. Both outlive the round, in the ledger.
package marks

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// Mark is one version on one copy.
type Mark struct {
	Copy string // the copy's id
	Slug string // the object's
	N    int    // the version's number
}

// Notes is the part of the ledger that keeps them.
type Notes interface {
	Value(key string) (value string, found bool, err error)
	SetValue(key, value string) error
}

// BegunKey is where the ledger keeps the list of [Begun].
const BegunKey = "versions being made"

// List is one list of marks. Several goroutines may use it.
type List struct {
	notes Notes
	key   string
	mu    sync.Mutex
}

// Begun is the list of versions being made.
func Begun(n Notes) *List { return &List{notes: n, key: BegunKey} }

// PassedOver is the list of versions that were begun on a drive and made elsewhere.
func PassedOver(n Notes) *List { return &List{notes: n, key: "versions passed over"} }

// All are the marks, in the order in which they were set. A line that tells none is
// passed over.
func (l *List) All() ([]Mark, error) {
	v, _, err := l.notes.Value(l.key)
	if err != nil {
		return nil, err
	}
	var all []Mark
	for line := range strings.Lines(v) {
		f := strings.Fields(line)
		if len(f) != 3 {
			continue
		}
		if n, err := strconv.Atoi(f[2]); err == nil {
			all = append(all, Mark{f[0], f[1], n})
		}
	}
	return all, nil
}

// Add sets a mark, once.
func (l *List) Add(m Mark) error {
	return l.change(func(all []Mark) []Mark {
		if slices.Contains(all, m) {
			return all
		}
		return append(all, m)
	})
}

// Drop takes out the marks that gone picks.
func (l *List) Drop(gone func(Mark) bool) error {
	return l.change(func(all []Mark) []Mark { return slices.DeleteFunc(all, gone) })
}

func (l *List) change(edit func([]Mark) []Mark) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	was, err := l.All()
	if err != nil {
		return err
	}
	now := edit(slices.Clone(was))
	if slices.Equal(was, now) {
		return nil
	}
	var b strings.Builder
	for _, m := range now {
		fmt.Fprintf(&b, "%s %s %d\n", m.Copy, m.Slug, m.N)
	}
	return l.notes.SetValue(l.key, b.String())
}
