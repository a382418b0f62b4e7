// Package desk tells people of what the rounds come to. Begin with [New], and hand its
// Take to the rounds as a sink of their events and its Set to the service, which tells
// the settings whenever it has read them. [Try] sends a notice because a person asks.
//
// Each archive whose settings name somebody has a clerk of its own (clerk.go). It
// waits until a round's events have settled, looks at the archive once (look.go), and
// sends what its book says is due. What is told comes from the typed events and the
// list of what wants a person; nobody parses text.
package desk

import (
	"context"
	"log/slog"
	"reflect"
	"sync"
	"time"

	"golang.org/x/sync/semaphore"

	"linecamp/daemon/attention"
	"linecamp/daemon/config"
	"linecamp/daemon/event"
	"linecamp/daemon/notice"
	"linecamp/daemon/notice/post"
	"linecamp/manifest/words"
)

// Options are what a desk needs.
type Options struct {
	// Words are what a notice says: package daemon/show/text/letter has them.
	Words  func(notice.Notice, words.Line) (subject, text string)
	Config string // the settings that were named, for command lines
	Log    *slog.Logger
	Now    func() time.Time // nil for time.Now
	Turned func()           // after each turn at an archive; nil for nothing

	// For tests.
	look  func(context.Context, config.Archive, Options, int) ([]attention.Item, *notice.State, error)
	ways  func(config.Notice) []post.Way
	alive func(context.Context, config.Notice) error
}

func (o Options) filled() Options {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	if o.Turned == nil {
		o.Turned = func() {}
	}
	if o.look == nil {
		o.look, o.ways, o.alive = look, post.Ways, post.Alive
	}
	return o
}

// looksAtOnce bounds how many archives are open for a look, beside those at a round.
const looksAtOnce = 2

// Desk tells of every archive of a service.
type Desk struct {
	ctx   context.Context
	o     Options
	looks *semaphore.Weighted

	mu     sync.Mutex
	clerks map[string]*clerk // by archive
	gone   sync.WaitGroup
}

// New makes a desk that works until ctx ends.
func New(ctx context.Context, o Options) *Desk {
	return &Desk{ctx: ctx, o: o.filled(), looks: semaphore.NewWeighted(looksAtOnce), clerks: map[string]*clerk{}}
}

// Set makes these the archives there are.
func (d *Desk) Set(all []config.Archive) {
	d.mu.Lock()
	defer d.mu.Unlock()
	wanted := map[string]config.Archive{}
	for _, a := range all {
		if a.Notice.IsSet() {
			wanted[a.Name] = a
		}
	}
	for name, c := range d.clerks {
		if !reflect.DeepEqual(wanted[name], c.cfg) || c.among != len(all) {
			c.stop()
			<-c.done
			delete(d.clerks, name)
		}
	}
	for name, cfg := range wanted {
		if d.clerks[name] != nil {
			continue
		}
		ctx, stop := context.WithCancel(d.ctx)
		c := &clerk{Desk: d, cfg: cfg, among: len(all), stop: stop, done: make(chan struct{}), poke: make(chan struct{}, 1)}
		d.clerks[name] = c
		d.gone.Go(func() {
			defer close(c.done)
			c.run(ctx)
		})
	}
}

// Take is a sink of the rounds' events.
func (d *Desk) Take(t event.Told) {
	d.mu.Lock()
	c := d.clerks[t.Archive]
	d.mu.Unlock()
	if c != nil {
		c.take(t.Event)
	}
}

// Wait waits until nothing is told any more, after ctx has ended.
func (d *Desk) Wait() { d.gone.Wait() }

// line is what command lines in a notice need to come back to the archive.
func (o Options) line(archive string, among int) words.Line {
	l := words.Line{Config: o.Config}
	if among > 1 {
		l.Archive = archive
	}
	return l
}
