package ledger

import (
	"database/sql"
	"encoding/json"
	"errors"

	"linecamp/manifest"
)

// Said is what a person decided about a site and no version records yet. The
// next mirror round writes it into the site's record, which is where it is kept.
type Said struct {
	Object   string
	Decision manifest.Decision
}

const saidKey = "decisions to be recorded"

// Said returns what waits to be recorded, oldest first.
func (l *Ledger) Said() ([]Said, error) {
	var all []Said
	err := l.reading(func(db *sql.DB) error {
		var err error
		all, err = readSaid(db)
		return err
	})
	return all, err
}

// AddSaid adds to what waits, and has it on storage when it returns: nothing else
// knows it yet.
func (l *Ledger) AddSaid(said ...Said) error {
	if err := l.changeSaid(func(all []Said) []Said { return append(all, said...) }); err != nil {
		return err
	}
	return l.Sync()
}

// DropSaid forgets what a version records by now.
func (l *Ledger) DropSaid(recorded func(Said) bool) error {
	return l.changeSaid(func(all []Said) []Said {
		var left []Said
		for _, s := range all {
			if !recorded(s) {
				left = append(left, s)
			}
		}
		return left
	})
}

// changeSaid reads and writes at once, since people decide while rounds run.
func (l *Ledger) changeSaid(change func([]Said) []Said) error {
	return l.writing(func(tx *sql.Tx) error {
		all, err := readSaid(tx)
		if err != nil {
			return err
		}
		b, err := json.Marshal(change(all))
		if err != nil {
			return err
		}
		_, err = tx.Exec("INSERT INTO value VALUES (?, ?) ON CONFLICT DO UPDATE SET value = excluded.value", saidKey, string(b))
		return err
	})
}

func readSaid(from interface {
	QueryRow(string, ...any) *sql.Row
}) (all []Said, err error) {
	var text string
	err = from.QueryRow("SELECT value FROM value WHERE key = ?", saidKey).Scan(&text)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if json.Unmarshal([]byte(text), &all) != nil {
		return nil, nil // damaged: a person says it again
	}
	return all, nil
}
