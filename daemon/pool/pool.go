// Package pool is what all archives of one process may take together: how many are at
// work at once, how many have their state open, how much memory is in use when another
// begins. Begin with [Read], the settings of the whole machine, and [New]. An archive is
// let in by [Pool.Enter] and leaves when its round is done, so one that is slow or
// hangs keeps its one place, and none of the others'.
package pool

import (
	"context"
	"runtime/metrics"
	"slices"
	"sync"
	"time"
)

// Pool lets archives in, first come first. It is safe for use at once.
type Pool struct {
	mu     sync.Mutex
	limits Settings
	work   queue // for a place at work
	open   queue // for room to have a state open
	inUse  func() int64

	moved time.Time // when one last began or left
	held  int       // of those at work, how many hang as far as anybody can tell
}

// queue counts those inside, and keeps in line who waits.
type queue struct {
	inside int
	line   []chan struct{}
}

// New is a pool with these limits.
func New(s Settings) *Pool { return &Pool{limits: s.filled(), inUse: inUse} }

// Limit changes the limits. Whoever is inside stays.
func (p *Pool) Limit(s Settings) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.limits = s.filled()
	p.admit()
}

// Limits are those that hold.
func (p *Pool) Limits() Settings {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.limits
}

// patience is how long those at work may keep others out, while memory is short, without
// one of them coming to its end.
const patience = 10 * time.Minute

// look is how often one who waits looks whether memory has become free.
const look = 5 * time.Second

// Enter waits for a place at work. Whoever got one gives it back with Leave.
func (p *Pool) Enter(ctx context.Context) error { return p.wait(ctx, &p.work) }

// Free is how many places at work nobody has.
func (p *Pool) Free() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.limits.Slots - p.work.inside
}

// Leave gives a place at work back.
func (p *Pool) Leave() { p.leave(&p.work) }

// Open waits for room to have a state open, and Shut gives it back.
func (p *Pool) Open(ctx context.Context) error { return p.wait(ctx, &p.open) }

// TryOpen is Open where that takes no waiting.
func (p *Pool) TryOpen() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.open.line) > 0 || !p.fits(&p.open) {
		return false
	}
	p.open.inside++
	return true
}

// Shut gives the room of one state back.
func (p *Pool) Shut() { p.leave(&p.open) }

func (p *Pool) wait(ctx context.Context, q *queue) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	p.mu.Lock()
	turn := make(chan struct{})
	q.line = append(q.line, turn)
	p.admit()
	p.mu.Unlock()
	again := time.NewTicker(look)
	defer again.Stop()
	for {
		select {
		case <-turn:
			return nil
		case <-again.C:
			p.mu.Lock()
			p.admit()
			p.mu.Unlock()
		case <-ctx.Done():
			p.mu.Lock()
			defer p.mu.Unlock()
			if i := slices.Index(q.line, turn); i >= 0 {
				q.line = slices.Delete(q.line, i, i+1)
				return ctx.Err()
			}
			q.inside-- // its turn came in the same moment
			p.move(q)
			p.admit()
			return ctx.Err()
		}
	}
}

func (p *Pool) leave(q *queue) {
	p.mu.Lock()
	defer p.mu.Unlock()
	q.inside--
	p.move(q)
	p.admit()
}

func (p *Pool) move(q *queue) {
	if q == &p.work {
		p.moved, p.held = time.Now(), min(p.held, q.inside)
	}
}

// admit lets in whoever fits, first come first.
func (p *Pool) admit() {
	for _, q := range []*queue{&p.work, &p.open} {
		for len(q.line) > 0 && p.fits(q) {
			q.inside++
			p.move(q)
			close(q.line[0])
			q.line = q.line[1:]
		}
	}
}

// fits reports whether one more may come in. Where memory is short one archive at a
// time still works, because memory is not given back by waiting. Those that hang do not
// count as that one.
func (p *Pool) fits(q *queue) bool {
	if q == &p.open {
		return q.inside < p.limits.open()
	}
	switch {
	case q.inside >= p.limits.Slots:
		return false
	case q.inside == 0:
		return true
	case p.inUse() < p.limits.Memory:
		p.held = 0
		return true
	case time.Since(p.moved) >= patience:
		p.held = q.inside
	}
	return q.inside <= p.held
}

// inUse is how much memory this process has from the system.
func inUse() int64 {
	s := []metrics.Sample{{Name: "/memory/classes/total:bytes"}, {Name: "/memory/classes/heap/released:bytes"}}
	metrics.Read(s)
	return int64(s[0].Value.Uint64() - s[1].Value.Uint64())
}
