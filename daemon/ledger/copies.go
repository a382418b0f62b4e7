package ledger

import (
	"database/sql"
	"math"
	"time"
)

// Committed returns the newest version known to be committed on a copy, by
// object slug.
func (l *Ledger) Committed(copy string) (map[string]int, error) {
	var all map[string]int
	err := l.rows(func() { all = map[string]int{} }, func(row *sql.Rows) error {
		var object string
		var version int
		err := row.Scan(&object, &version)
		all[object] = version
		return err
	}, "SELECT object, version FROM committed WHERE copy = ?", copy)
	return all, err
}

// SetCommitted remembers the newest committed version of an object on a copy;
// 0 forgets it.
func (l *Ledger) SetCommitted(copy, object string, version int) error {
	if version <= 0 {
		return l.exec("DELETE FROM committed WHERE copy = ? AND object = ?", copy, object)
	}
	return l.exec("INSERT INTO committed VALUES (?, ?, ?) ON CONFLICT DO UPDATE SET version = excluded.version", copy, object, version)
}

// ForgetVersions forgets what a copy holds of an object from a version on, and
// when it was read back or confirmed: the copy has it no more.
func (l *Ledger) ForgetVersions(copy, object string, from int) error {
	if err := l.Flush(); err != nil {
		return err
	}
	if err := l.exec(`DELETE FROM held WHERE copy = ? AND object = ? AND part GLOB 'v[0-9]*' AND CAST(substr(part, 2) AS INTEGER) >= ?`, copy, object, from); err != nil {
		return err
	}
	return l.SetCommitted(copy, object, from-1)
}

// ForgetCopy forgets what a copy holds, its committed versions and when it was
// met: it was put back to an older day. What was downloaded from it stays
// counted, and damage stays on record until the bytes were read again.
func (l *Ledger) ForgetCopy(copy string) error {
	if err := l.Flush(); err != nil {
		return err
	}
	return l.writing(func(tx *sql.Tx) error {
		for _, table := range []string{"held", "committed", "seen"} {
			if _, err := tx.Exec("DELETE FROM "+table+" WHERE copy = ?", copy); err != nil {
				return err
			}
		}
		return nil
	})
}

// CopySeen is how a copy was last met.
type CopySeen struct {
	LastReachable time.Time // last time it was reached; zero for never
	LastCurrent   time.Time // last time nothing was left to bring it; zero for never
	AwaySince     time.Time // first time in a row it was not reached; zero if it was reached last
	State         string    // of the last round: "current", "behind", "away", "unreachable" or "failed"
	Error         string    // of the last round, a sentence; "" if all went well
}

// Seen returns how a copy was last met; a copy never met is the zero CopySeen.
func (l *Ledger) Seen(copy string) (CopySeen, error) {
	var s CopySeen
	var reachable, current, away int64
	_, err := l.row([]any{&reachable, &current, &away, &s.State, &s.Error},
		"SELECT reachable, current, away, state, error FROM seen WHERE copy = ?", copy)
	s.LastReachable, s.LastCurrent, s.AwaySince = moment(reachable), moment(current), moment(away)
	return s, err
}

// SetSeen remembers how a copy was met.
func (l *Ledger) SetSeen(copy string, s CopySeen) error {
	return l.exec(`INSERT INTO seen VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET
		reachable = excluded.reachable, current = excluded.current, away = excluded.away, state = excluded.state, error = excluded.error`,
		copy, stamp(s.LastReachable), stamp(s.LastCurrent), stamp(s.AwaySince), s.State, s.Error)
}

// quarter is the grain of download counts: local midnight is on a quarter hour
// in every time zone.
const quarter = 15 * time.Minute

// Spend counts bytes to an account: a copy's id for what is downloaded from it to
// check it, and what package link calls its link.
func (l *Ledger) Spend(account string, bytes int64, at time.Time) error {
	return l.writing(func(tx *sql.Tx) error {
		_, err := tx.Exec("INSERT INTO reread VALUES (?, ?, ?) ON CONFLICT DO UPDATE SET bytes = bytes + excluded.bytes",
			account, stamp(at.Truncate(quarter)), bytes)
		if err != nil {
			return err
		}
		_, err = tx.Exec("DELETE FROM reread WHERE at < ?", stamp(at.AddDate(-1, 0, 0)))
		return err
	})
}

// Spent returns how many bytes were counted to an account since a time, rounded
// down to a quarter of an hour, at most a year back.
func (l *Ledger) Spent(account string, since time.Time) (int64, error) {
	return l.SpentIn(account, since, time.Time{})
}

// SpentIn is Spent before a time; the zero time is no end.
func (l *Ledger) SpentIn(account string, since, until time.Time) (int64, error) {
	end := int64(math.MaxInt64)
	if !until.IsZero() {
		end = stamp(until)
	}
	var n int64
	_, err := l.row([]any{&n}, "SELECT coalesce(sum(bytes), 0) FROM reread WHERE copy = ? AND at >= ? AND at < ?", account, stamp(since.Truncate(quarter)), end)
	return n, err
}
