package link

import (
	"encoding/json"
	"fmt"
	"time"

	"linecamp/daemon/config"
)

// account is where the ledger counts what went over a copy's link.
func account(id string) string { return "link of " + id }

// flushAt is how much is counted before it is written to the ledger. So much a kill can
// lose.
const flushAt = 1 << 20

// count takes in bytes that went over a connection.
func (l *Link) count(n int) {
	if l.link.Allowance.Per == "" {
		return
	}
	if l.pending.Add(int64(n)) >= flushAt {
		_ = l.Flush() // what it could not write stays counted here, and the next tries again
	}
}

// Flush writes what was counted to the ledger.
func (l *Link) Flush() error {
	if l == nil || l.link.Allowance.Per == "" {
		return nil
	}
	l.writing.Lock()
	defer l.writing.Unlock()
	n := l.pending.Load()
	if n == 0 {
		return nil
	}
	at, _, err := l.window(time.Time{})
	if err != nil {
		return err
	}
	if err := l.ledger.Spend(account(l.id), cost(n), at); err != nil {
		return fmt.Errorf("counting what went over the link: %w", err)
	}
	l.pending.Add(-n)
	return nil
}

// IsNew reports whether nothing was ever counted for a link that has an allowance.
func (l *Link) IsNew() (bool, error) {
	if l == nil || l.link.Allowance.Per == "" {
		return false, nil
	}
	text, _, err := l.ledger.Value(l.clockKey())
	if err != nil {
		return false, fmt.Errorf("the ledger: %w", err)
	}
	return text == "", nil
}

func (l *Link) clockKey() string { return "clock of the link of " + l.id }

// Born tells since when the copy exists: before that nothing went over its link. It is
// told before anything is counted.
func (l *Link) Born(at time.Time) error {
	if l == nil || l.link.Allowance.Per == "" {
		return nil
	}
	l.writing.Lock()
	defer l.writing.Unlock()
	_, _, err := l.window(at)
	return err
}

// clock is the newest window that something was counted in. A window that begins
// earlier than it gives nothing new: the clock was set back. Only when that clock comes
// over the edge of a window of its own is it the newer one that was the mistake.
type clock struct {
	Per    string `json:"per"`
	Newest int64  `json:"newest"`
	Behind int64  `json:"behind,omitempty"` // the window that an earlier clock stands in
}

// window returns when what is used now is counted, and the window that lies in. The
// first time, where the ledger is new, what was used before is assumed: as much of the
// allowance as of the window is over since the copy exists.
func (l *Link) window(born time.Time) (at, from time.Time, err error) {
	now := l.now().Local()
	from = l.link.Allowance.Since(now)
	key := l.clockKey()
	text, _, err := l.ledger.Value(key)
	if err != nil {
		return at, from, fmt.Errorf("the ledger: %w", err)
	}
	var was clock
	_ = json.Unmarshal([]byte(text), &was) // damaged: as if it were new
	c := was
	switch w := from.Unix(); {
	case was.Newest == 0:
		c = clock{Per: l.link.Allowance.Per, Newest: w}
		if share := l.share(born, from, now); share > 0 {
			if err := l.ledger.Spend(account(l.id), share, now); err != nil {
				return at, from, fmt.Errorf("the ledger: %w", err)
			}
		}
	case was.Per != l.link.Allowance.Per, w >= was.Newest, was.Behind != 0 && w > was.Behind:
		c = clock{Per: l.link.Allowance.Per, Newest: w}
	case was.Behind == 0:
		c.Behind = w
	}
	if c != was {
		text, err := json.Marshal(c)
		if err == nil {
			err = l.ledger.SetValue(key, string(text))
		}
		if err != nil {
			return at, from, fmt.Errorf("the ledger: %w", err)
		}
	}
	if c.Newest == from.Unix() {
		return now, from, nil
	}
	from = time.Unix(c.Newest, 0).In(now.Location())
	return from, from, nil
}

func (l *Link) share(born, from, now time.Time) int64 {
	began := from
	if born.After(began) {
		began = born
	}
	if over := now.Sub(began); over > 0 {
		whole := l.link.Allowance.Until(now).Sub(from)
		return int64(float64(l.link.Allowance.Bytes) * (float64(over) / float64(whole)))
	}
	return 0
}

// used is what went over the link in the window at hand, and how much of it was read
// to check the copy.
func (l *Link) used() (all, rereads int64, err error) {
	l.writing.Lock()
	defer l.writing.Unlock()
	_, from, err := l.window(time.Time{})
	if err != nil {
		return 0, 0, err
	}
	until := l.link.Allowance.Until(from)
	if all, err = l.ledger.SpentIn(account(l.id), from, until); err == nil {
		rereads, err = l.ledger.SpentIn(l.id, from, until)
	}
	if err != nil {
		return 0, 0, fmt.Errorf("the ledger: %w", err)
	}
	return all + cost(l.pending.Load()), cost(rereads), nil
}

// kept is what is left to rereads, in each window.
func (l *Link) kept() int64 {
	kept := l.link.Allowance.Bytes / 10
	if r := l.reread; r.Bytes == 0 || r.Per == l.link.Allowance.Per {
		kept = min(kept, cost(r.Bytes))
	}
	return kept
}

// whole is all that a window leaves to what is sent.
func (l *Link) whole() int64 { return l.link.Allowance.Bytes - l.kept() }

// Left is how much may still be sent in the window at hand, of any number where no
// allowance limits it; nothing from 0 down.
func (l *Link) Left() (int64, error) {
	if l == nil || l.link.Allowance.Per == "" {
		return 1 << 60, nil
	}
	all, rereads, err := l.used()
	return l.link.Allowance.Bytes - all - max(0, l.kept()-rereads), err
}

// Rereads is how much may be downloaded now to check the copy: what the settings say of
// that, and what the link's allowance leaves; [config.Unlimited] for no limit.
func (l *Link) Rereads() (int64, error) {
	if l == nil {
		return config.Unlimited, nil
	}
	left := int64(config.Unlimited)
	if l.reread.Bytes != config.Unlimited {
		spent, err := l.ledger.SpentIn(l.id, l.reread.Since(l.now()), time.Time{})
		if err != nil {
			return 0, fmt.Errorf("the ledger: %w", err)
		}
		left = max(0, l.reread.Bytes-spent)
	}
	if l.link.Allowance.Per == "" {
		return left, nil
	}
	all, _, err := l.used()
	link := max(0, l.link.Allowance.Bytes-all)
	link -= link / (packets + 1)
	if left == config.Unlimited || link < left {
		left = link
	}
	return left, err
}
