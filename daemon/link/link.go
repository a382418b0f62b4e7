// Package link holds the way to a bucket to what the settings allow: the hours of
// the day, how fast, and how much in a month. Call [Of] for a bucket's [Link]; have
// its connections made by [Link.Conn], which counts and slows them; and ask
// [Link.Start] before a version is begun and [Link.May] before its next file.
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

// IsHeld reports whether the connections are to be made by Conn: something limits this
// link, or all of the process together.
func (l *Link) IsHeld() bool { return l != nil && (l.link.IsLimited() || all.isLimited()) }

// packets is how many bytes of a connection go with one byte of its packets' headers
// and acknowledgments, which those who count bytes for money count too.
const packets = 20
