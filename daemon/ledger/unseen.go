package ledger

import (
	"database/sql"
	"fmt"
	"maps"
	"slices"

	"linecamp/manifest"
	"linecamp/manifest/packed"
)

// Unseen is what of one object's newest state the working folder never had, as far
// as this machine knows. A file that is absent and stands here did not leave the
// folder.
type Unseen struct {
	// Paths are the logical paths, each with the digest of the bytes on record.
	Paths map[string]manifest.Digest
	// Open says that what came after version Since is still to be looked through,
	// since its manifest was not at hand.
	Open  bool
	Since int
}

// A row for each object of which something was never seen here. What a row says is
// as of the lines of the seal that were accounted for.
const unseenTable = `
CREATE TABLE unseen   (object TEXT PRIMARY KEY, packed BLOB NOT NULL) WITHOUT ROWID;
`

// A ledger of a program that kept no such rows took what was absent for gone. It
// goes on so for all that was on record until then.
const upgradeUnseen = unseenTable + `
INSERT OR IGNORE INTO value VALUES ('` + accountedKey + `', '` + allLines + `');
`

const (
	accountedKey = "accounted lines"
	allLines     = "all"
	unseenFormat = 1
)

// Accounted is how many lines of the seal were accounted for, and their digest; all
// says instead that an earlier program left this ledger, and that every line kept
// in its state folder counts. A new ledger accounted for none.
func (l *Ledger) Accounted() (lines int, sum manifest.Digest, all bool, err error) {
	text, known, err := l.Value(accountedKey)
	if err != nil || !known {
		return 0, sum, false, err
	}
	if text == allLines {
		return 0, sum, true, nil
	}
	var hex string
	if n, _ := fmt.Sscanf(text, "%d %64s", &lines, &hex); n < 2 {
		return 0, sum, false, nil // damaged: none
	}
	if sum, err = manifest.ParseDigest(hex); err != nil {
		return 0, sum, false, nil
	}
	return lines, sum, false, nil
}

// Unseen returns every row, by object.
func (l *Ledger) Unseen() (all map[string]Unseen, err error) {
	err = l.rows(func() { all = map[string]Unseen{} }, func(row *sql.Rows) error {
		var object string
		var packed []byte
		err := row.Scan(&object, &packed)
		all[object] = unpackUnseen(packed)
		return err
	}, "SELECT object, packed FROM unseen")
	return all, err
}

// AccountFor notes that so many lines of the seal were accounted for, and what that
// changed in the rows: one with nothing in it goes. It is all there or not at all.
func (l *Ledger) AccountFor(lines int, sum manifest.Digest, rows map[string]Unseen) error {
	return l.writing(func(tx *sql.Tx) error {
		for _, object := range slices.Sorted(maps.Keys(rows)) {
			query, a := "DELETE FROM unseen WHERE object = ?", []any{object}
			if u := rows[object]; u.Open || len(u.Paths) > 0 {
				query, a = "INSERT INTO unseen VALUES (?, ?) ON CONFLICT DO UPDATE SET packed = excluded.packed", append(a, packUnseen(u))
			}
			if _, err := tx.Exec(query, a...); err != nil {
				return err
			}
		}
		_, err := tx.Exec("INSERT INTO value VALUES (?, ?) ON CONFLICT DO UPDATE SET value = excluded.value", accountedKey, fmt.Sprintf("%d %s", lines, sum))
		return err
	})
}

func packUnseen(u Unseen) []byte {
	p := packed.New(unseenFormat, 16+64*len(u.Paths))
	p.Flag(u.Open)
	p.Number(uint64(u.Since))
	p.Number(uint64(len(u.Paths)))
	last := ""
	for _, path := range slices.Sorted(maps.Keys(u.Paths)) {
		p.Path(last, path)
		p.Digest(u.Paths[path])
		last = path
	}
	return p.Sealed()
}

// unpackUnseen reads a row. In a damaged one, all of the object is open.
func unpackUnseen(row []byte) Unseen {
	r, err := packed.Unseal(unseenFormat, row)
	if err != nil {
		return Unseen{Open: true}
	}
	u := Unseen{Open: r.Flag(), Since: int(r.Number()), Paths: map[string]manifest.Digest{}}
	last := ""
	for n := r.Number(); n > 0 && r.Left() > 0; n-- {
		last = r.Path(last)
		u.Paths[last] = r.Digest()
	}
	if r.Err() != nil {
		return Unseen{Open: true}
	}
	return u
}
