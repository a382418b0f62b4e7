package link

import (
	"fmt"
	"time"
)

// patience is how long nothing may come to a copy that the link's limits keep behind: an
// allowance may be used up for the most of a month, and a version wait for the next one.
const patience = 45 * 24 * time.Hour

func (l *Link) movedKey() string { return "moved over the link of " + l.id }

// Note notes, after a round, whether something came to a copy that is behind, or it became
// so only now.
func (l *Link) Note(came bool) error {
	if !l.IsLimited() {
		return nil
	}
	if was, err := l.moved(); err != nil || !came && !was.IsZero() {
		return err
	}
	return l.ledger.SetValue(l.movedKey(), l.now().UTC().Format(time.RFC3339))
}

// Stuck is since when nothing came to a copy that was current at a time, zero for never;
// it is the zero time unless that is too long.
func (l *Link) Stuck(current time.Time) (since time.Time, err error) {
	if !l.IsLimited() {
		return since, nil
	}
	if since, err = l.moved(); err != nil || since.Before(current) {
		since = current
	}
	if since.IsZero() || l.now().Sub(since) <= patience {
		return time.Time{}, err
	}
	return since, err
}

func (l *Link) moved() (at time.Time, err error) {
	text, _, err := l.ledger.Value(l.movedKey())
	if err != nil {
		return at, fmt.Errorf("the ledger: %w", err)
	}
	at, _ = time.Parse(time.RFC3339, text) // damaged: as if it were new
	return at, nil
}
