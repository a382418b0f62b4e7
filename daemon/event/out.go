package event

import (
	"fmt"
	"log/slog"
	"sync"
	"time"
)

// Out delivers one archive's events. The zero value has no sinks.
type Out struct {
	archive string
	now     func() time.Time
	lines   []*line
}

// mostQueued is how many events wait for a slow sink; those that follow are lost to
// it, and it is told how many.
const mostQueued = 1000

// closeTime is how long Close waits for sinks.
const closeTime = time.Second

// NewOut delivers to the sinks. What a sink panics with goes to the log.
func NewOut(archive string, now func() time.Time, log *slog.Logger, sinks ...Sink) *Out {
	o := &Out{archive: archive, now: now}
	for _, s := range sinks {
		o.lines = append(o.lines, &line{sink: s, log: log})
	}
	return o
}

// Tell hands an event on. It never waits.
func (o *Out) Tell(e Event) {
	for _, l := range o.lines {
		l.add(Told{At: o.now().UTC(), Archive: o.archive, Event: e})
	}
}

// Close waits a moment for the sinks to take what was told.
func (o *Out) Close() {
	limit := time.NewTimer(closeTime)
	defer limit.Stop()
	for _, l := range o.lines {
		select {
		case <-l.idle():
		case <-limit.C:
			return
		}
	}
}

// line is the events that wait for one sink.
type line struct {
	sink Sink
	log  *slog.Logger

	mu     sync.Mutex
	queue  []Told
	missed int
	done   chan struct{} // closed when the queue is empty; nil while it is
}

func (l *line) add(t Told) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.queue) >= mostQueued {
		l.missed++
		return
	}
	l.queue = append(l.queue, t)
	if l.done == nil {
		l.done = make(chan struct{})
		go l.deliver()
	}
}

// deliver runs while there is something to deliver.
func (l *line) deliver() {
	for {
		l.mu.Lock()
		if len(l.queue) == 0 {
			close(l.done)
			l.done = nil
			l.mu.Unlock()
			return
		}
		next := l.queue[0]
		l.queue = l.queue[1:]
		if l.missed > 0 && len(l.queue) == 0 {
			l.queue = append(l.queue, Told{next.At, next.Archive, Missed{l.missed}})
			l.missed = 0
		}
		l.mu.Unlock()
		l.give(next)
	}
}

func (l *line) give(t Told) {
	defer func() {
		if p := recover(); p != nil {
			l.log.Error(fmt.Sprintf("what takes the events of the rounds failed at %s: %v", t.Event.name(), p), "archive", t.Archive)
		}
	}()
	l.sink(t)
}

// idle is closed once the sink has taken all.
func (l *line) idle() <-chan struct{} {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.done != nil {
		return l.done
	}
	empty := make(chan struct{})
	close(empty)
	return empty
}
