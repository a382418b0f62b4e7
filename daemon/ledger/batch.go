package ledger

import (
	"database/sql"
	"errors"
	"sync"
	"time"

	"linecamp/manifest"
	"linecamp/verify/decode"
)

const (
	// lull is how long written things may wait for company.
	lull = time.Second
	// enough is when they wait no longer; bytes, roughly.
	enough = 2 << 20
	// tooMuch is when whoever has more must wait for the disk.
	tooMuch = 8 * enough
)

// batch is what is still to be written. Later entries replace or merge with
// earlier ones, so it can be written in any order.
type batch struct {
	folders map[string][]byte            // packed; nil to forget
	sights  map[string]int64             // 0 to forget
	held    map[place]map[string]*change // by content path
	decoded map[manifest.Digest]decode.Verdict
	size    int
}

// batcher gathers batches and writes them in the background, one at a time.
type batcher struct {
	mu     sync.Mutex
	next   *batch // gathering
	now    *batch // being written; readers look here too. nil if none is
	room   sync.Cond
	failed error // the last thing that went wrong, until somebody asks

	one  sync.Mutex    // held while writing
	some chan struct{} // next is not empty
	full chan struct{} // next is large enough
	quit chan struct{}
	done chan struct{}
}

func newBatch() *batch {
	return &batch{folders: map[string][]byte{}, sights: map[string]int64{}, held: map[place]map[string]*change{},
		decoded: map[manifest.Digest]decode.Verdict{}}
}

func (b *batcher) start(l *Ledger) {
	b.next = newBatch()
	b.room.L = &b.mu
	b.some, b.full = make(chan struct{}, 1), make(chan struct{}, 1)
	b.quit, b.done = make(chan struct{}), make(chan struct{})
	go func() {
		defer close(b.done)
		for {
			select {
			case <-b.quit:
				return
			case <-b.some:
			}
			wait := time.NewTimer(lull)
			select {
			case <-b.quit:
				wait.Stop()
				return
			case <-b.full:
			case <-wait.C:
			}
			wait.Stop()
			b.write(l)
		}
	}()
}

func (b *batcher) stop(l *Ledger) error {
	close(b.quit)
	<-b.done
	return b.flush(l)
}

// add lets f put something of about size bytes into the batch. It returns what
// went wrong in the background before.
func (b *batcher) add(size int, f func(next *batch)) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	for b.next.size > tooMuch && b.now != nil {
		b.room.Wait()
	}
	f(b.next)
	b.next.size += size + 64
	signal(b.some)
	if b.next.size > enough {
		signal(b.full)
	}
	err := b.failed
	b.failed = nil
	return err
}

func signal(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

// look lets f see the batches in the order in which they are written.
func (b *batcher) look(f func(*batch)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.now != nil {
		f(b.now)
	}
	f(b.next)
}

func (b *batcher) flush(l *Ledger) error {
	b.write(l)
	b.mu.Lock()
	defer b.mu.Unlock()
	err := b.failed
	b.failed = nil
	return err
}

// write writes what was gathered until now, in one transaction. What goes wrong
// stays in failed for the next one who asks.
func (b *batcher) write(l *Ledger) {
	b.one.Lock()
	defer b.one.Unlock()
	b.mu.Lock()
	if b.next.size == 0 {
		b.mu.Unlock()
		return
	}
	b.now, b.next = b.next, newBatch()
	b.mu.Unlock()

	err := l.writing(func(tx *sql.Tx) error {
		return errors.Join(b.now.writeFolders(tx), b.now.writeSights(tx), b.now.writeHeld(tx), b.now.writeDecoded(tx))
	})
	// Readers find it in the database from here on, so no page that was read
	// ahead before may stand.
	l.folders.clear()
	b.mu.Lock()
	b.now = nil
	if err != nil {
		b.failed = err
	}
	b.room.Broadcast()
	b.mu.Unlock()
}
