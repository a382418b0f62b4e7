package service

import (
	"context"
	"sync"
	"sync/atomic"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/pool"
	"linecamp/daemon/reach"
)

// crowd sees to it that many archives get along in one process, within the limits of
// its pool. Each has one place at work, however many of its rounds are under way. Its
// state is opened when it is needed; as long as there is room it stays open, as if the
// archive had the process to itself, and else the one longest idle is closed for the next.
type crowd struct {
	pool   *pool.Pool
	now    func() time.Time
	wanted atomic.Int32 // those who wait for room

	mu   sync.Mutex
	idle []*member // longest first
}

func newCrowd(p *pool.Pool, now func() time.Time) *crowd { return &crowd{pool: p, now: now} }

// member is one archive of a crowd. It is opened when it is needed.
type member struct {
	*crowd
	open func() (Archive, error)

	opening sync.Mutex
	work    Archive // nil while it is closed
	users   int     // guarded by crowd.mu, like all below
	rounds  int     // under way
	missed  []config.Copy
	opens   time.Time
	broke   bool
	asked   time.Time // when all three were
	watch   reach.Watch
}

// join tries that the archive can be opened at all.
func (c *crowd) join(ctx context.Context, open func() (Archive, error)) (rounds, error) {
	m := &member{crowd: c, open: open}
	_, leave, err := m.use(ctx)
	if err != nil {
		return nil, err
	}
	leave()
	return m, nil
}

// use opens the archive where it is not, for as long as leave was not called.
func (m *member) use(ctx context.Context) (work Archive, leave func(), err error) {
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
		m.pool.Shut()
		return nil, nil, err
	}
	return m.enter(work), m.leave, nil
}

// enter counts one more user of what is open, or of work just opened.
func (m *member) enter(work Archive) Archive {
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
	if c.pool.TryOpen() {
		return nil
	}
	c.wanted.Add(1)
	defer c.wanted.Add(-1)
	c.mu.Lock()
	c.closeIdle()
	c.mu.Unlock()
	return c.pool.Open(ctx)
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
	c.pool.Shut()
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
	if err := m.begin(ctx); err != nil {
		return err
	}
	defer m.end()
	work, leave, err := m.use(ctx)
	if err != nil {
		return err
	}
	defer leave()
	return work.Round(ctx, kind)
}

// begin waits for the archive's place at work, where it has none yet.
func (m *member) begin(ctx context.Context) error {
	if m.joins() {
		return nil
	}
	if err := m.pool.Enter(ctx); err != nil {
		return err
	}
	m.came()
	return nil
}

// came counts a round that got a place, which it gives back where another of the
// archive's rounds got one meanwhile.
func (m *member) came() {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.rounds++; m.rounds > 1 {
		m.pool.Leave()
	}
}

func (m *member) joins() bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.rounds == 0 {
		return false
	}
	m.rounds++
	return true
}

func (m *member) end() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.asked = time.Time{} // the round may have met what was missed
	if m.rounds--; m.rounds == 0 {
		m.pool.Leave()
	}
}

// askAgain is how long the drives that were missed, and what a link kept back, are taken to be the same: another
// process may run rounds too.
const askAgain = 15 * time.Minute

// Returned reports whether a drive is back that the last mirror round did not meet. What
// that one missed is remembered, so that looking each minute opens no state.
func (m *member) Returned(ctx context.Context) bool {
	fresh := m.learn(ctx)
	m.mu.Lock()
	missed := m.missed
	m.mu.Unlock()
	if len(missed) == 0 || !m.watch.Back(ctx, missed, m.now) {
		return false
	}
	if !fresh {
		return true
	}
	m.ask(ctx) // a round of another process may have met it by now
	m.mu.Lock()
	missed = m.missed
	m.mu.Unlock()
	return len(missed) > 0 && m.watch.Back(ctx, missed, m.now)
}

// Opens is when a link opens that kept something back in the last mirror round.
func (m *member) Opens() time.Time {
	m.learn(context.Background())
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.opens
}

// Broke reports whether a bucket fell out of the last mirror round.
func (m *member) Broke() bool {
	m.learn(context.Background())
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.broke
}

// learn asks, where it is not known already, and reports whether it was.
func (m *member) learn(ctx context.Context) (known bool) {
	m.mu.Lock()
	known = !m.asked.IsZero() && m.now().Sub(m.asked).Abs() < askAgain
	m.mu.Unlock()
	if !known {
		m.ask(ctx)
	}
	return known
}

func (m *member) ask(ctx context.Context) {
	work, leave, err := m.use(ctx)
	if err != nil {
		return
	}
	missed, opens, broke := work.Missed(), work.Opens(), work.Broke()
	leave()
	m.mu.Lock()
	defer m.mu.Unlock()
	m.missed, m.opens, m.broke, m.asked = missed, opens, broke, m.now()
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
	m.pool.Shut()
	return err
}
