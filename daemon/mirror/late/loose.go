package late

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"linecamp/daemon/authority"
)

// Loose is what one copy has of other histories: objects with versions that are not the
// archive's, and the first of them; 0 where that is still to be found out. The ledger
// notes it, so that the copy need not be read anew for it in each round. Call Load first.
// Several goroutines may use it.
type Loose struct {
	CopyID string
	Notes  authority.Notes

	mu    sync.Mutex
	from  map[string]int
	rests map[string]bool
}

func (l *Loose) key() string { return "loose " + l.CopyID }

// Load reads what was noted.
func (l *Loose) Load() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.from, l.rests = map[string]int{}, map[string]bool{}
	noted, _, err := l.Notes.Value(l.key())
	for line := range strings.Lines(noted) {
		slug, from, _ := strings.Cut(strings.TrimSpace(line), " ")
		if n, err := strconv.Atoi(from); err == nil {
			l.from[slug] = n
		}
	}
	return err
}

// Add notes what is loose of an object.
func (l *Loose) Add(slug string, from int) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if was, ok := l.from[slug]; ok && was == from {
		return nil
	}
	l.from[slug] = from
	return l.note()
}

// Drop notes that nothing is.
func (l *Loose) Drop(slug string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if _, ok := l.from[slug]; !ok {
		return nil
	}
	delete(l.from, slug)
	return l.note()
}

func (l *Loose) note() error {
	var b strings.Builder
	for _, slug := range slices.Sorted(maps.Keys(l.from)) {
		fmt.Fprintf(&b, "%s %d\n", slug, l.from[slug])
	}
	return l.Notes.SetValue(l.key(), b.String())
}

// Has reports whether something is loose of an object.
func (l *Loose) Has(slug string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	_, ok := l.from[slug]
	return ok
}

// Slugs are the objects of which something is, in order.
func (l *Loose) Slugs() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.Sorted(maps.Keys(l.from))
}

// Ours is the newest of the archive's versions of an object on the copy, which has that many
// versions of any history; more than there can be where that is still to be found out.
func (l *Loose) Ours(slug string, has int) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	switch from, loose := l.from[slug]; {
	case !loose:
		return has
	case from == 0:
		return math.MaxInt // it may be any
	default:
		return from - 1
	}
}

// Rest notes that what is loose of an object holds up nothing in this round: all of it is
// brought, or nothing can be done with it.
func (l *Loose) Rest(slug string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.rests[slug] = true
}

// Undone reports whether what is loose of an object is still to be taken in.
func (l *Loose) Undone(slug string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	_, ok := l.from[slug]
	return ok && !l.rests[slug]
}
