package link

import (
	"errors"
	"fmt"
	"time"
)

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

// Begin is Start for a version with a name. The one begun last goes on for as long as
// anything is left, since some of it is there already.
func (l *Link) Begin(name string, bytes int64) error {
	err := l.Start(bytes)
	if l == nil || l.link.Allowance.Per == "" {
		return err
	}
	key := "begun over the link of " + l.id
	was, _, lerr := l.ledger.Value(key)
	switch {
	case lerr != nil:
		return fmt.Errorf("the ledger: %w", lerr)
	case errors.Is(err, ErrHeld) && was == name:
		return l.May()
	case err == nil && was != name:
		return l.ledger.SetValue(key, name)
	}
	return err
}

// Opens is when the hours of the link begin for the first time after a time, zero where
// it has none.
func (l *Link) Opens(after time.Time) time.Time {
	if l == nil || len(l.link.Hours) == 0 {
		return time.Time{}
	}
	at := after.Local()
	if l.link.Hours.Open(at) {
		at = l.link.Hours.Next(at)
	}
	return l.link.Hours.Next(at)
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

func cost(bytes int64) int64 { return bytes + bytes/packets }
