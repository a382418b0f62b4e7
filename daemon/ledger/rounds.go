package ledger

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"linecamp/verify"
)

// Round is one round as it was recorded.
type Round struct {
	ID      int64
	Kind    string
	Began   time.Time
	Ended   time.Time // zero if it never ended
	Outcome string
	Detail  string
}

// keptRounds is how many rounds are remembered.
const keptRounds = 5000

// Begin records that a round begins, and returns its number for End.
func (l *Ledger) Begin(kind string, at time.Time) (int64, error) {
	var id int64
	err := l.writing(func(tx *sql.Tx) error {
		res, err := tx.Exec("INSERT INTO round (kind, began, ended, outcome, detail) VALUES (?, ?, 0, '', '')", kind, stamp(at))
		if err != nil {
			return err
		}
		if id, err = res.LastInsertId(); err != nil {
			return err
		}
		// The newest round of each kind stays, however long ago it was.
		_, err = tx.Exec("DELETE FROM round WHERE id <= ? AND id NOT IN (SELECT max(id) FROM round GROUP BY kind)", id-keptRounds)
		return err
	})
	return id, err
}

// End records how a round ended.
func (l *Ledger) End(id int64, at time.Time, outcome, detail string) error {
	return l.exec("UPDATE round SET ended = ?, outcome = ?, detail = ? WHERE id = ?", stamp(at), outcome, detail, id)
}

// LastRound returns the round of a kind that began last; false if there was
// none.
func (l *Ledger) LastRound(kind string) (Round, bool, error) {
	var r Round
	var began, ended int64
	isThere, err := l.row([]any{&r.ID, &r.Kind, &began, &ended, &r.Outcome, &r.Detail},
		"SELECT id, kind, began, ended, outcome, detail FROM round WHERE kind = ? ORDER BY id DESC LIMIT 1", kind)
	r.Began, r.Ended = moment(began), moment(ended)
	return r, isThere, err
}

// LastDone returns when the newest round of a kind began that ended with one of
// the outcomes; zero if none did.
func (l *Ledger) LastDone(kind string, outcomes ...string) (time.Time, error) {
	in := make([]any, 0, len(outcomes)+1)
	in = append(in, kind)
	for _, o := range outcomes {
		in = append(in, o)
	}
	return l.began("SELECT began FROM round WHERE kind = ? AND ended <> 0 AND outcome IN (?"+strings.Repeat(", ?", len(outcomes)-1)+") ORDER BY id DESC LIMIT 1", in...)
}

// FirstRound returns when the oldest round began that is remembered; zero for
// none.
func (l *Ledger) FirstRound() (time.Time, error) {
	return l.began("SELECT began FROM round ORDER BY id LIMIT 1")
}

func (l *Ledger) began(query string, args ...any) (time.Time, error) {
	var at int64
	_, err := l.row([]any{&at}, query, args...)
	return moment(at), err
}

// SetDamage replaces what damage is known of a copy, named by its id, or of the
// working folder.
func (l *Ledger) SetDamage(copy string, found []verify.Damage) error {
	return l.writing(func(tx *sql.Tx) error {
		if _, err := tx.Exec("DELETE FROM damage WHERE copy = ?", copy); err != nil {
			return err
		}
		for _, d := range found {
			if _, err := tx.Exec("INSERT INTO damage VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
				copy, d.Site, d.Path, d.Version, d.Kind, d.Detail, d.Object, d.Content); err != nil {
				return err
			}
		}
		return nil
	})
}

// AddDamage adds to what damage is known of a copy. What is known of the same
// file already stays as it is.
func (l *Ledger) AddDamage(copy string, found []verify.Damage) error {
	return l.writing(func(tx *sql.Tx) error {
		for _, d := range found {
			if _, err := tx.Exec(`INSERT INTO damage SELECT ?, ?, ?, ?, ?, ?, ?, ?
				WHERE NOT EXISTS (SELECT 1 FROM damage WHERE copy = ? AND object = ? AND content = ?)`,
				copy, d.Site, d.Path, d.Version, d.Kind, d.Detail, d.Object, d.Content, copy, d.Object, d.Content); err != nil {
				return err
			}
		}
		return nil
	})
}

// DropDamage forgets the damage of some files of an object on a copy, by content
// path: good bytes are there now.
func (l *Ledger) DropDamage(copy, object string, content []string) error {
	return l.writing(func(tx *sql.Tx) error {
		for _, c := range content {
			if _, err := tx.Exec("DELETE FROM damage WHERE copy = ? AND object = ? AND content = ?", copy, object, c); err != nil {
				return err
			}
		}
		return nil
	})
}

// Damage returns the damage last found, of all copies, by copy in the order in
// which it was given. Copy is the copy's id.
func (l *Ledger) Damage() ([]verify.Damage, error) {
	var all []verify.Damage
	err := l.rows(func() { all = nil }, func(row *sql.Rows) error {
		var d verify.Damage
		err := row.Scan(&d.Copy, &d.Site, &d.Path, &d.Version, &d.Kind, &d.Detail, &d.Object, &d.Content)
		all = append(all, d)
		return err
	}, "SELECT copy, site, path, version, kind, detail, object, content FROM damage ORDER BY copy, rowid")
	return all, err
}

// years is how Years are kept among the values.
type years struct {
	At     time.Time
	Counts map[string]int
}

const yearsKey = "years"

// SetYears remembers how many years were in each state when they were last
// judged.
func (l *Ledger) SetYears(counts map[string]int, at time.Time) error {
	b, err := json.Marshal(years{at.UTC(), counts})
	if err != nil {
		return fmt.Errorf("the years cannot be kept: %w", err)
	}
	return l.SetValue(yearsKey, string(b))
}

// Years returns what SetYears was last given; nil and the zero time for
// nothing.
func (l *Ledger) Years() (counts map[string]int, at time.Time, err error) {
	s, ok, err := l.Value(yearsKey)
	if err != nil || !ok {
		return nil, time.Time{}, err
	}
	var y years
	if json.Unmarshal([]byte(s), &y) != nil {
		return nil, time.Time{}, nil // damaged: unknown
	}
	return y.Counts, y.At, nil
}

// Value returns something small kept under a key; false if nothing is.
func (l *Ledger) Value(key string) (value string, ok bool, err error) {
	ok, err = l.row([]any{&value}, "SELECT value FROM value WHERE key = ?", key)
	return value, ok, err
}

// SetValue keeps something small under a key; "" forgets it. "years" is taken.
func (l *Ledger) SetValue(key, value string) error {
	if value == "" {
		return l.exec("DELETE FROM value WHERE key = ?", key)
	}
	return l.exec("INSERT INTO value VALUES (?, ?) ON CONFLICT DO UPDATE SET value = excluded.value", key, value)
}
