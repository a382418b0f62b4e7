package ledger

import (
	"database/sql"

	"linecamp/verify"
)

// Ledgers up to format 2 kept damage under the name a person gave the copy, so
// that a copy renamed in the settings seemed to have none.
const damageByID = `
DROP INDEX damage_copy;
ALTER TABLE damage RENAME TO damage_by_name;
` + damageTable

// KeyByID moves what an older ledger keeps under the names of copies to their
// ids, by the settings as they are now; in a ledger of today there is nothing
// to do.
//
// Damage under a name that the settings no longer have belongs to a copy that
// was renamed or taken out, and nothing tells which. So it counts for every copy
// that is known to hold that version, until the bytes were read again: a false
// alarm ends there, a false all-clear might not.
func (l *Ledger) KeyByID(ids map[string]string) error {
	const old = "SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name = 'damage_by_name'"
	there := 0
	err := l.reading(func(db *sql.DB) error { return db.QueryRow(old).Scan(&there) })
	if err != nil || there == 0 {
		return err
	}
	return l.writing(func(tx *sql.Tx) error {
		// Another process may have been quicker.
		if err := tx.QueryRow(old).Scan(&there); err != nil || there == 0 {
			return err
		}
		move := func(id, name string) error {
			if _, err := tx.Exec(`INSERT INTO damage SELECT ?, site, path, version, kind, detail, object, content
				FROM damage_by_name WHERE copy = ? ORDER BY rowid`, id, name); err != nil {
				return err
			}
			_, err := tx.Exec("DELETE FROM damage_by_name WHERE copy = ?", name)
			return err
		}
		if err := move(verify.WorkingName, verify.WorkingName); err != nil {
			return err
		}
		for name, id := range ids {
			if err := move(id, name); err != nil {
				return err
			}
		}
		for _, id := range ids {
			if _, err := tx.Exec(`INSERT INTO damage SELECT ?, site, path, version, kind, detail, object, content
				FROM damage_by_name AS was WHERE kind IN (?, ?, ?)
				AND EXISTS (SELECT 1 FROM held WHERE held.copy = ? AND held.object = was.object AND was.content LIKE held.part || '/%')
				AND NOT EXISTS (SELECT 1 FROM damage AS is_there WHERE is_there.copy = ? AND is_there.object = was.object AND is_there.content = was.content)`,
				id, verify.Altered, verify.Gone, verify.Unreadable, id, id); err != nil {
				return err
			}
		}
		_, err := tx.Exec("DROP TABLE damage_by_name")
		return err
	})
}
