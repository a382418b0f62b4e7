package service

import (
	"context"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sync/semaphore"
)

// What all archives of one service take together, however many there are.
const (
	roundsAtOnce = 8  // rounds that run side by side; the others wait their turn, first come first
	openAtOnce   = 32 // archives whose state is open: a ledger takes about a dozen descriptors
)

// crowd sees to it that many archives get along in one process: so many rounds
// at once, and so many archives open. Up to that many stay open, as if each had
// the process to itself; beyond, the one longest idle is closed for the next.
type crowd struct {
	rounds *semaphore.Weighted
	room   *semaphore.Weighted
	wanted atomic.Int32 // those who wait for room

	mu   sync.Mutex
	idle []*member // longest first
}

func newCrowd(rounds, open int64) *crowd {
	return &crowd{rounds: semaphore.NewWeighted(rounds), room: semaphore.NewWeighted(open)}
}

// member is one archive of a crowd. It is opened when it is needed.
type member struct {
	*crowd
	open func() (Rounds, error)

	opening sync.Mutex
	work    Rounds // nil while it is closed
	users   int    // guarded by crowd.mu, like work
}

// join tries that the archive can be opened at all.
func (c *crowd) join(open func() (Rounds, error)) (Rounds, error) {
	m := &member{crowd: c, open: open}
	_, leave, err := m.use(context.Background())
	if err != nil {
		return nil, err
	}
	leave()
	return m, nil
}

// use opens the archive where it is not, for as long as leave was not called.
func (m *member) use(ctx context.Context) (work Rounds, leave func(), err error) {
	m.opening.Lock()
	defer m.opening.Unlock()
	if work := m.enter(nil); work != nil {
		return work, m.leave, nil
	}
	if err := m.makeRoom(ctx); err != nil {
		return nil, nil, err
	}
	work, err = m.open()
	if err != nil {
		m.room.Release(1)
		return nil, nil, err
	}
	return m.enter(work), m.leave, nil
}

// enter counts one more user of what is open, or of work just opened.
func (m *member) enter(work Rounds) Rounds {
	m.mu.Lock()
	defer m.mu.Unlock()
	if work != nil {
		m.work = work
	}
	if m.work != nil {
		m.users++
		m.forget(m)
	}
	return m.work
}

func (m *member) leave() {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.users--; m.users > 0 {
		return
	}
	m.idle = append(m.idle, m)
	if m.wanted.Load() > 0 {
		m.closeIdle()
	}
}

func (c *crowd) makeRoom(ctx context.Context) error {
	if c.room.TryAcquire(1) {
		return nil
	}
	c.wanted.Add(1)
	defer c.wanted.Add(-1)
	c.mu.Lock()
	c.closeIdle()
	c.mu.Unlock()
	return c.room.Acquire(ctx, 1)
}

// closeIdle closes the archive that nobody has needed for longest. What closing
// it may fail at is in its ledger's own log; it is opened anew when it is needed.
func (c *crowd) closeIdle() {
	if len(c.idle) == 0 {
		return
	}
	m := c.idle[0]
	c.idle = c.idle[1:]
	_ = m.work.Close()
	m.work = nil
	c.room.Release(1)
}

func (c *crowd) forget(m *member) {
	for i, x := range c.idle {
		if x == m {
			c.idle = append(c.idle[:i:i], c.idle[i+1:]...)
			return
		}
	}
}

func (m *member) Last(kind string) (began time.Time, ended bool, err error) {
	work, leave, err := m.use(context.Background())
	if err != nil {
		return time.Time{}, false, err
	}
	defer leave()
	return work.Last(kind)
}

func (m *member) Round(ctx context.Context, kind string) error {
	if err := m.rounds.Acquire(ctx, 1); err != nil {
		return err
	}
	defer m.rounds.Release(1)
	work, leave, err := m.use(ctx)
	if err != nil {
		return err
	}
	defer leave()
	return work.Round(ctx, kind)
}

func (m *member) Returned(ctx context.Context) bool {
	work, leave, err := m.use(ctx)
	if err != nil {
		return false
	}
	defer leave()
	return work.Returned(ctx)
}

// Close is for the archive's end here: nobody uses it any more.
func (m *member) Close() error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.forget(m)
	if m.work == nil {
		return nil
	}
	err := m.work.Close()
	m.work = nil
	m.room.Release(1)
	return err
}
