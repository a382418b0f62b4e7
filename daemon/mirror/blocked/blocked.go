// Package blocked knows which sites cannot go on on a copy in a round, and why. Each
// copy has [Sites]; several goroutines may use them.
package blocked

import (
	"fmt"
	"maps"
	"slices"
	"sync"

	"linecamp/manifest/words"
)

// Sites are those that cannot go on, by slug. The zero value has none.
type Sites struct {
	mu    sync.Mutex
	why   map[string]string
	await map[string]bool // they lack only what a copy out of reach may have
}

// Add notes why slug cannot go on.
func (s *Sites) Add(slug, why string) { s.note(slug, why, false) }

// Await notes that slug cannot go on without what a copy out of reach may have.
func (s *Sites) Await(slug, why string) { s.note(slug, why, true) }

func (s *Sites) note(slug, why string, await bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.why == nil {
		s.why, s.await = map[string]string{}, map[string]bool{}
	}
	s.why[slug], s.await[slug] = why, await
}

// Awaits reports whether Await noted slug.
func (s *Sites) Awaits(slug string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.await[slug]
}

// Release has slug go on where Await noted it: what lacked is needed no more.
func (s *Sites) Release(slug string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.await[slug] {
		delete(s.why, slug)
		delete(s.await, slug)
	}
}

// Has reports whether slug cannot go on.
func (s *Sites) Has(slug string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	_, ok := s.why[slug]
	return ok
}

// String names one of them, and says how many there are, "" for none.
func (s *Sites) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.why) == 0 {
		return ""
	}
	slug := slices.Min(slices.Collect(maps.Keys(s.why)))
	text := slug + ": " + s.why[slug]
	if more := len(s.why) - 1; more > 0 {
		text += fmt.Sprintf(" (and %s)", words.Count(more, "more site", "more sites"))
	}
	return text
}
