package page

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/show/page/cardview"
	"linecamp/daemon/show/page/jobs"
	"linecamp/daemon/show/page/small"
	"linecamp/manifest/words"
)

// stale is how old a book may be before it is read again behind the view.
const stale = 20 * time.Second

// Archive is one archive to be shown.
type Archive struct {
	*daemon.Archive
	Line   words.Line // what its command lines need
	Folder string     // for its small pictures
}

// book is one archive as the page shows it.
type book struct {
	Archive
	shelf *small.Shelf
	now   func() time.Time
	log   *slog.Logger
	jobs  jobs.List
	desk  cardview.Desk

	mu      sync.Mutex
	open    *reading
	reading chan struct{} // closed when the reading under way has ended; nil where there is none
	err     error         // of the last reading
}

// reading is the book as it stood at one time.
type reading struct {
	at     time.Time
	record *daemon.Record
	status daemon.Status
	*index
}

// read returns the book. One that is a little old is given at once, and read again
// behind it; fresh asks for one that was read from now on.
func (b *book) read(ctx context.Context, fresh bool) (*reading, error) {
	began := b.now()
	for {
		b.mu.Lock()
		open := b.open
		if open != nil && (!fresh || !open.at.Before(began)) {
			if b.reading == nil && b.now().Sub(open.at) > stale {
				b.start(ctx)
			}
			b.mu.Unlock()
			return open, nil
		}
		if b.reading == nil {
			b.start(ctx)
		}
		wait := b.reading
		b.mu.Unlock()
		select {
		case <-wait:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
		b.mu.Lock()
		err := b.err
		b.mu.Unlock()
		if err != nil {
			return nil, err
		}
	}
}

// mostReading is how long reading the book may take.
const mostReading = 5 * time.Minute

// start begins a reading. b.mu is held.
func (b *book) start(ctx context.Context) {
	done := make(chan struct{})
	b.reading = done
	at := b.now()
	go func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), mostReading)
		defer cancel()
		r := &reading{at: at}
		record, err := b.Record(ctx)
		if err == nil { // it judges the years, which the status tells of
			r.status, err = b.Status(ctx)
		}
		if err == nil {
			r.record, r.index = record, newIndex(record)
		} else {
			b.log.Warn("the page cannot read the archive", "archive", b.Name(), "error", err)
		}
		b.mu.Lock()
		defer b.mu.Unlock()
		if err == nil {
			b.open = r
		}
		b.err, b.reading = err, nil
		close(done)
	}()
}
