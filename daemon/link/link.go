// Package link holds the way to a bucket to what the settings allow: the hours of
// the day, how fast, and how much in a month. Call [Of] for a bucket's [Link]; have
// its connections made by [Link.Conn], which counts and slows them; and ask
// [Link.Start] before a version is begun and [Link.May] before its next file or part.
//
// What counts is every byte that goes over a connection in either direction, and one
// in twenty more for the headers of its packets (pace.go). The speed is shared by
// everything this process does with the bucket. What was used is kept in the ledger
// (books.go), together with what verify reads again; a tenth of the month is left to
// that. Outlook.go says how long what is still to go will take.
//
// A restore is never held up: it is slowed and counted like everything, and nobody
// asks there whether it may go on.
package link

import (
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"linecamp/daemon/config"
	"linecamp/manifest/store/fault"
)

// ErrHeld: the settings of the link keep this back for now. It goes on by itself.
var ErrHeld = errors.New("the link's limits keep it back")

// ErrFault: the settings of the link hold a mistake, and tell no limit to keep to.
var ErrFault = fault.New("the settings of its link hold a mistake", fault.Refused)

// Ledger keeps what was used.
type Ledger interface {
	Spend(account string, bytes int64, at time.Time) error
	SpentIn(account string, since, until time.Time) (int64, error)
	Value(key string) (string, bool, error)
	SetValue(key, value string) error
}

// Link is the way to one bucket. A nil Link has no limits.
type Link struct {
	id     string
	link   config.Link
	reread config.Allowance
	ledger Ledger
	now    func() time.Time
	pace   *pace

	pending atomic.Int64 // counted, and not in the ledger yet
	writing sync.Mutex
}

// Of is the link to a copy; nil for one that costs nothing to reach.
func Of(c config.Copy, l Ledger, now func() time.Time) *Link {
	if !c.Can().Metered {
		return nil
	}
	return &Link{id: c.ID, link: c.Link, reread: c.Reread, ledger: l, now: now, pace: paceOf(c.ID, c.Link.Rate.Bytes)}
}

// IsLimited reports whether the settings limit the link.
func (l *Link) IsLimited() bool { return l != nil && l.link.IsLimited() }

// May returns an ErrHeld where nothing more is to be sent now.
func (l *Link) May() error {
	if !l.IsLimited() {
		return nil
	}
	if err := l.open(); err != nil {
		return err
	}
	left, err := l.Left()
	if err == nil && left <= 0 {
		err = l.spent()
	}
	return err
}

// Start is May for a version of so many bytes: one that does not fit into what is left
// is not begun, unless it is larger than all that ever is left.
func (l *Link) Start(bytes int64) error {
	if err := l.May(); err != nil || !l.IsLimited() || l.link.Allowance.Per == "" {
		return err
	}
	left, err := l.Left()
	if err == nil && cost(bytes) > left && cost(bytes) <= l.whole() {
		err = l.spent()
	}
	return err
}

func (l *Link) open() error {
	now := l.now().Local()
	if l.link.Hours.Open(now) {
		return nil
	}
	return fmt.Errorf("%w until %s: its hours are %s", ErrHeld, l.link.Hours.Next(now).Format("15:04"), l.link.Hours)
}

func (l *Link) spent() error {
	return fmt.Errorf("%w until %s: what its allowance of %s leaves is too little", ErrHeld, l.link.Allowance.Until(l.now().Local()).Format("January 2"), l.link.Allowance.Text)
}

// packets is how many bytes of a connection go with one byte of its packets' headers
// and acknowledgments, which those who count bytes for money count too.
const packets = 20

func cost(bytes int64) int64 { return bytes + bytes/packets }
