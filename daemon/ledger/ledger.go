// Package ledger remembers, between rounds, what is expensive to find out again: what
// the files of the working folder were when they were last read, what each copy holds
// and when it was last read back, and how the last rounds went. Begin with [Open],
// and with [OpenInventories] for the cached manifests.
//
// The ledger is a cache and a memory, never the truth. The truth lies on the
// copies. Losing the ledger loses no photo, no name and no explanation; files
// are read again, and every read-back age is then "never". So a damaged ledger
// is set aside and begun anew, and anything doubtful in it counts as unknown.
//
// An archive's state folder holds
//
//	ledger.db      this package's [Ledger], an SQLite database
//	inventories/   the last inventory of each object, see [Inventories]
//	seal/          the seal as this machine last knew it, see [Inventories.Seal]
//
// and the folder above it machine.json, see [Machine].
//
// # How the ledger is kept
//
// A first round over 200,000 small files must not wait for 200,000
// transactions, and a round with nothing new must not make 100,000 queries.
// Hence three habits:
//
//   - What belongs together is one row, packed: the files of one folder, the
//     files of one version of one object on one copy.
//   - [Ledger.SetFolder], [Ledger.Remember] and [Ledger.FirstSeen] return at
//     once. What they were given is seen by every reader of this Ledger from
//     then on, and is written within about a second, many rows in one
//     transaction. [Ledger.Flush] and [Ledger.Close] write it now. A crash loses that
//     second: some files are read once more.
//   - Folders are read ahead, in the order in which a walk asks for them.
//
// Several processes (the service and a command) may use one ledger at once:
// SQLite's write-ahead log keeps readers and the one writer apart, and what is
// merged is merged inside a transaction.
package ledger

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"
)

// ErrNewer marks a ledger written by a later release of linecamp.
var ErrNewer = errors.New("the ledger was written by a newer linecamp; use that one, or move ledger.db away to begin a new one (no photo is lost by that, but every copy counts as not read back)")

// Ledger is one archive's memory. Its methods may be called from several
// goroutines at once.
type Ledger struct {
	path string

	swap  sync.RWMutex // held for writing while db is replaced
	db    *database
	aside string // where a damaged ledger was put, if there was one

	batch   batcher
	folders pages
	first   sights
}

// Open opens the ledger in an archive's state folder, and makes both where they
// are not there yet. A damaged ledger is set aside beside it and begun anew,
// see [Ledger.SetAside]. A ledger of a newer linecamp is ErrNewer.
func Open(dir string) (*Ledger, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("the state folder cannot be made: %w", err)
	}
	dir, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("the state folder: %w", err)
	}
	l := &Ledger{path: filepath.Join(dir, "ledger.db")}
	if l.db, err = openDatabase(l.path); damaged(err) {
		err = l.beginAnew()
	}
	if err != nil {
		return nil, fmt.Errorf("the ledger %s: %w", l.path, err)
	}
	if err := l.loadSights(time.Now()); err != nil {
		l.db.close()
		return nil, err
	}
	l.batch.start(l)
	return l, nil
}

// SetAside returns where a damaged ledger was put since Open began, "" if the
// ledger was sound. A person should be told: files will be read again, and
// copies count as not read back.
func (l *Ledger) SetAside() string {
	l.swap.RLock()
	defer l.swap.RUnlock()
	return l.aside
}

// Flush writes everything that is still to be written, and returns what went
// wrong with it or with earlier writing in the background.
func (l *Ledger) Flush() error { return l.batch.flush(l) }

// Close flushes and closes. Nothing may be called afterwards.
func (l *Ledger) Close() error {
	err := l.batch.stop(l)
	l.swap.Lock()
	defer l.swap.Unlock()
	return errors.Join(err, l.db.close())
}
