package restore

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

// source is a Source while it is used.
type source struct {
	Source
	mu     sync.Mutex
	reason error // why it is no longer used, or the first thing wrong with it
	gone   atomic.Bool
	asked  atomic.Int64 // Unix milliseconds of the last question who it is
}

type sources struct{ all []*source }

func newSources(list []Source) *sources {
	s := &sources{}
	for _, one := range list {
		s.all = append(s.all, &source{Source: one})
	}
	return s
}

// fault notes the first thing wrong with a source.
func (s *source) fault(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.reason == nil {
		s.reason = err
	}
}

// suspect is called when a source failed to hand something out: if it no longer
// says which copy it is, it is not asked again.
func (s *source) suspect(ctx context.Context, err error) {
	s.fault(err)
	now := time.Now().UnixMilli()
	if last := s.asked.Load(); now-last < 200 || !s.asked.CompareAndSwap(last, now) {
		return
	}
	if _, err := s.Root.Identity(ctx); err != nil && ctx.Err() == nil {
		s.mu.Lock()
		s.reason = fmt.Errorf("it went away: %w", err)
		s.mu.Unlock()
		s.gone.Store(true)
	}
}

// left reports whether any source can still be asked.
func (s *sources) left() bool {
	for _, one := range s.all {
		if !one.gone.Load() {
			return true
		}
	}
	return false
}

// trouble lists the sources that something was wrong with.
func (s *sources) trouble() []string {
	var out []string
	for _, one := range s.all {
		one.mu.Lock()
		if one.reason != nil {
			out = append(out, fmt.Sprintf("%s: %s", one.Name, oneLine(one.reason)))
		}
		one.mu.Unlock()
	}
	return out
}

// seal is the longest seal any source has, of those that go on from the one
// known, if there is one; nil with the reason where none can be read.
func (s *sources) seal(ctx context.Context, known *seal.Seal) (*seal.Seal, error) {
	told := make([]seal.Told, len(s.all))
	var first error
	for i, one := range s.all {
		log, err := store.ReadSeal(ctx, one.Root)
		if err == nil {
			told[i].Seal = log
		} else if first == nil {
			first = fmt.Errorf("%s: %w", one.Name, err)
		}
	}
	best, _ := seal.Right(known, told...)
	return best, first
}
