package desk

import (
	"context"
	"errors"
	"maps"
	"slices"
	"sync"
	"time"

	"linecamp/daemon/attention"
	"linecamp/daemon/config"
	"linecamp/daemon/event"
	"linecamp/daemon/notice"
	"linecamp/manifest/words"
)

const (
	tick    = 5 * time.Minute  // between two turns, where nothing happens
	settle  = 10 * time.Minute // after the last event, so that a check and its mend are told as one
	mostFor = time.Hour        // after the first, whatever still happens
	daily   = 24 * time.Hour   // a look, where no round ends
	fresh   = time.Hour        // the age up to which a look is told without another
)

// clerk tells of one archive. All but take is called by run alone.
type clerk struct {
	*Desk
	cfg   config.Archive
	among int // archives
	stop  context.CancelFunc
	done  chan struct{}
	poke  chan struct{}

	mu     sync.Mutex
	events []event.Event

	dir         string
	book        *notice.Book
	state       *notice.State
	stirred     bool      // something happened since the last look
	first, last time.Time // of what happened
}

// mostWaiting bounds the events that wait for a clerk who is sending. Those that are
// about nothing to tell are not taken.
const mostWaiting = 1000

func (c *clerk) take(e event.Event) {
	switch e.(type) {
	case event.RoundBegan, event.RoundEnded, event.DamageFound:
	default:
		return
	}
	c.mu.Lock()
	if len(c.events) < mostWaiting {
		c.events = append(c.events, e)
	}
	c.mu.Unlock()
	select {
	case c.poke <- struct{}{}:
	default:
	}
}

func (c *clerk) run(ctx context.Context) {
	c.stir() // the rounds that were missed come first
	for ctx.Err() == nil {
		c.turn(ctx)
		c.o.Turned()
		wait := time.NewTimer(tick)
		select {
		case <-c.poke:
		case <-wait.C:
		case <-ctx.Done():
		}
		wait.Stop()
	}
}

func (c *clerk) stir() {
	c.last = c.o.Now()
	if !c.stirred {
		c.stirred, c.first = true, c.last
	}
}

// turn takes what happened, and tells what is due.
func (c *clerk) turn(ctx context.Context) {
	if !c.open() {
		return
	}
	c.hear(ctx)
	now := c.o.Now()
	since := func(t time.Time) time.Duration { return now.Sub(t) }
	// A clock that was set back makes no wait longer.
	if c.stirred && since(c.last) >= 0 && since(c.last) < settle && since(c.first) < mostFor {
		return
	}
	age := since(c.book.Looked)
	ready := slices.ContainsFunc(slices.Collect(maps.Keys(c.book.Ways)), func(way string) bool { _, due := c.book.Due(way, now); return due })
	if c.stirred || age >= daily || age < 0 || (ready || c.isBlind()) && (age >= fresh || c.state == nil) {
		c.look(ctx)
	}
	if ctx.Err() == nil {
		c.tell(ctx)
	}
}

// open reads the book, where it was not read yet.
func (c *clerk) open() bool {
	if c.book != nil {
		return true
	}
	dir, err := c.cfg.StateDir()
	if err != nil {
		c.warn("notices are not sent", err)
		return false
	}
	book, err := notice.Load(dir)
	if err != nil {
		c.warn("what was told is not known", err)
		book = &notice.Book{}
	}
	var names []string
	for _, w := range c.o.ways(c.cfg.Notice) {
		names = append(names, w.Name)
	}
	book.Use(c.o.Now(), names...)
	c.dir, c.book = dir, book
	return true
}

// hear takes the events.
func (c *clerk) hear(ctx context.Context) {
	c.mu.Lock()
	events := c.events
	c.events = nil
	c.mu.Unlock()
	good, found := false, false
	for _, e := range events {
		c.stir()
		switch e := e.(type) {
		case event.DamageFound:
			c.book.Found(e, c.o.Now())
			found = true
		case event.RoundEnded:
			good = e.Outcome == event.Well
		}
	}
	if found {
		c.save()
	}
	if good && c.cfg.Notice.Alive != "" {
		if err := c.o.alive(ctx, c.cfg.Notice); err != nil && ctx.Err() == nil {
			c.warn("the address named as `alive` could not be called", err)
		}
	}
}

// look takes the list of what wants a person. That nobody can look does.
func (c *clerk) look(ctx context.Context) {
	if c.looks.Acquire(ctx, 1) != nil {
		return
	}
	all, state, err := c.o.look(ctx, c.cfg, c.o, c.among)
	c.looks.Release(1)
	if ctx.Err() != nil {
		return
	}
	now := c.o.Now()
	c.stirred = false
	if err != nil {
		c.warn("notices do not know how the archive stands", err)
		blind := attention.Item{Kind: attention.CannotLook, Since: now.UTC().Truncate(time.Second),
			What: "How the archive stands cannot be told: " + words.Sentence(err.Error()), Next: "see to that, then run `linecamp status`"}
		all = slices.Clone(c.book.Troubles)
		if i := slices.IndexFunc(all, isBlind); i >= 0 {
			blind.Since = all[i].Since
			all = slices.Delete(all, i, i+1)
		}
		all = append(all, blind)
	}
	c.state = state
	c.book.Note(all, now)
	c.save()
}

func isBlind(i attention.Item) bool { return i.Kind == attention.CannotLook }

func (c *clerk) isBlind() bool { return slices.ContainsFunc(c.book.Troubles, isBlind) }

// tell sends what is due, in each way.
func (c *clerk) tell(ctx context.Context) {
	for _, w := range c.o.ways(c.cfg.Notice) {
		n, due := c.book.Due(w.Name, c.o.Now())
		if !due {
			continue
		}
		n.State = c.state
		m, err := message(n, c.cfg, c.o, c.among, w.Name, c.book.Ways[w.Name].Number)
		if err == nil {
			err = w.Send(ctx, m)
		}
		if errors.Is(err, context.Canceled) && ctx.Err() != nil {
			return
		}
		if err != nil {
			c.warn("a notice could not be sent and is sent later", err)
			c.book.Failed(w.Name, err.Error(), c.o.Now())
		} else {
			c.o.Log.Info("a notice was sent", "archive", c.cfg.Name, "kind", string(n.Kind), "by", w.Name)
			c.book.Sent(w.Name, n, c.o.Now())
		}
		c.save()
	}
}

func (c *clerk) save() {
	if err := c.book.Save(c.dir); err != nil {
		c.warn("what was told cannot be written down", err)
	}
}

func (c *clerk) warn(what string, err error) {
	c.o.Log.Warn(what+": "+err.Error(), "archive", c.cfg.Name)
}
