// Package ledger remembers, between rounds, what is expensive to find out
// again.
package ledger

import (
	"errors"
	"time"

	"linecamp/verify"
)

// Ledger is one archive's memory. It may be used from several goroutines, and
// by several processes at once.
type Ledger struct{}

// Figures sums up what one copy is known to hold.
type Figures struct {
	Files          int
	Bytes          int64
	ReadBackFiles  int       // files whose bytes were once read back and matched
	ReadBackBytes  int64     // and their bytes
	OldestReadBack time.Time // zero unless every file was read back
	Confirmed      int       // files the server confirmed that were never read back
}

// CopySeen is how a copy was last met.
type CopySeen struct {
	LastReachable time.Time
	LastCurrent   time.Time // last time nothing was left to bring it
	AwaySince     time.Time // first time in a row that it was not reachable; zero if it was
	State         string    // of the last round: "current", "behind", "away", "unreachable", "failed"
	Error         string
}

// Round is one round as it was recorded.
type Round struct {
	ID      int64
	Kind    string
	Began   time.Time
	Ended   time.Time // zero if it never ended
	Outcome string
	Detail  string
}

var errSoon = errors.New("not built yet")

func Open(dir string) (*Ledger, error) { return nil, errSoon }
func (l *Ledger) Close() error         { return errSoon }
func (l *Ledger) Flush() error         { return errSoon }

func (l *Ledger) Held(copy, object string) (map[string]verify.Held, error) { return nil, errSoon }
func (l *Ledger) Remember(copy, object string, held []verify.Held) error   { return errSoon }
func (l *Ledger) Forget(copy, object string, paths []string) error         { return errSoon }
func (l *Ledger) Figures(copy string) (Figures, error)                     { return Figures{}, errSoon }
func (l *Ledger) Committed(copy string) (map[string]int, error)            { return nil, errSoon }
func (l *Ledger) SetCommitted(copy, object string, version int) error      { return errSoon }
func (l *Ledger) ForgetCopy(copy string) error                             { return errSoon }
func (l *Ledger) Seen(copy string) (CopySeen, error)                       { return CopySeen{}, errSoon }
func (l *Ledger) SetSeen(copy string, s CopySeen) error                    { return errSoon }
func (l *Ledger) Begin(kind string, at time.Time) (int64, error)           { return 0, errSoon }
func (l *Ledger) End(id int64, at time.Time, outcome, detail string) error { return errSoon }
func (l *Ledger) LastRound(kind string) (Round, bool, error)               { return Round{}, false, errSoon }
func (l *Ledger) SetDamage(copy string, found []verify.Damage) error       { return errSoon }
func (l *Ledger) Damage() ([]verify.Damage, error)                         { return nil, errSoon }
func (l *Ledger) SetYears(counts map[string]int, at time.Time) error       { return errSoon }
func (l *Ledger) Years() (counts map[string]int, at time.Time, err error)  { return nil, at, errSoon }
func (l *Ledger) SpendReread(copy string, bytes int64, at time.Time) error { return errSoon }
func (l *Ledger) Reread(copy string, since time.Time) (int64, error)       { return 0, errSoon }
func (l *Ledger) Value(key string) (value string, ok bool, err error)      { return "", false, errSoon }
func (l *Ledger) SetValue(key, value string) error                         { return errSoon }

// Machine returns this machine's author id and name, made once.
func Machine(stateBase string) (id, name string, err error) { return "", "", errSoon }
