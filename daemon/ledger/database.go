package ledger

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"linecamp/manifest/wholefile"
)

// format is the version of the tables below, kept as SQLite's user_version. To
// change them, count it up and add to upgrades what turns the format before
// into the new one; a ledger is never thrown away for being old, because
// read-back ages took months of reading.
const format = 4

// upgrades[n] brings a ledger of format n to format n+1.
var upgrades = map[int]string{1: decodedTable, 2: damageByID, 3: upgradeUnseen}

// application is SQLite's application_id of a ledger: "lcmp".
const application = 0x6c636d70

// Paths of the working folder are raw bytes, hence BLOB. Times are nanoseconds
// since 1970 (UTC), 0 for never.
const tables = `
CREATE TABLE folder   (dir BLOB PRIMARY KEY, known BLOB NOT NULL) WITHOUT ROWID;
CREATE TABLE sight    (path BLOB PRIMARY KEY, at INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE held     (copy TEXT NOT NULL, object TEXT NOT NULL, part TEXT NOT NULL,
                       files INTEGER NOT NULL, bytes INTEGER NOT NULL,
                       read_files INTEGER NOT NULL, read_bytes INTEGER NOT NULL, oldest INTEGER NOT NULL,
                       confirmed INTEGER NOT NULL, packed BLOB NOT NULL);
CREATE UNIQUE INDEX held_key ON held (copy, object, part);
CREATE TABLE committed(copy TEXT NOT NULL, object TEXT NOT NULL, version INTEGER NOT NULL, PRIMARY KEY (copy, object)) WITHOUT ROWID;
CREATE TABLE seen     (copy TEXT PRIMARY KEY, reachable INTEGER NOT NULL, current INTEGER NOT NULL, away INTEGER NOT NULL,
                       state TEXT NOT NULL, error TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE reread   (copy TEXT NOT NULL, at INTEGER NOT NULL, bytes INTEGER NOT NULL, PRIMARY KEY (copy, at)) WITHOUT ROWID;
CREATE TABLE round    (id INTEGER PRIMARY KEY, kind TEXT NOT NULL, began INTEGER NOT NULL, ended INTEGER NOT NULL,
                       outcome TEXT NOT NULL, detail TEXT NOT NULL);
CREATE INDEX round_kind ON round (kind, id);
CREATE TABLE value    (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
` + damageTable + decodedTable + unseenTable

// Copies are known by their ids, here and in every table: names change.
const damageTable = `
CREATE TABLE damage   (copy TEXT NOT NULL, site TEXT NOT NULL, path TEXT NOT NULL, version INTEGER NOT NULL,
                       kind TEXT NOT NULL, detail TEXT NOT NULL, object TEXT NOT NULL, content TEXT NOT NULL);
CREATE INDEX damage_copy ON damage (copy);
`

const decodedTable = `
CREATE TABLE decoded  (digest BLOB PRIMARY KEY, state INTEGER NOT NULL, why TEXT NOT NULL, by INTEGER NOT NULL) WITHOUT ROWID;
CREATE INDEX decoded_state ON decoded (state) WHERE state = 2;
`

// errForeign marks a database that is not a ledger.
var errForeign = errors.New("the file is not a ledger of linecamp")

// database is one open ledger file: one connection that writes, and some that
// only read and never wait for it.
type database struct{ write, read *sql.DB }

// openDatabase opens a ledger, and makes it if none is there.
func openDatabase(path string) (*database, error) {
	if _, err := os.Lstat(path); errors.Is(err, fs.ErrNotExist) {
		if err := create(path); err != nil {
			return nil, err
		}
	}
	d := &database{}
	var err error
	if d.write, err = connect(path, "_txlock=immediate", 1); err != nil {
		return nil, err
	}
	if err = d.prepare(); err != nil {
		d.close()
		return nil, err
	}
	if d.read, err = connect(path, "_pragma=query_only(1)", 4); err != nil {
		d.close()
		return nil, err
	}
	return d, nil
}

// create makes a ledger under another name and puts it in place whole, so that
// two processes that begin at once do not see each other's half-made one.
func create(path string) error {
	// A ledger holds names of people's files; only its owner reads it. SQLite
	// gives its log files the rights of the database.
	f, err := os.CreateTemp(filepath.Dir(path), ".new-*.db") // 0600
	if err != nil {
		return err
	}
	f.Close()
	defer os.Remove(f.Name())
	d := &database{}
	if d.write, err = connect(f.Name(), "_txlock=immediate", 1); err != nil {
		return err
	}
	if err := errors.Join(d.prepare(), d.close()); err != nil {
		return err
	}
	folder, err := os.OpenRoot(filepath.Dir(path))
	if err != nil {
		return err
	}
	defer folder.Close()
	if err := wholefile.Name(folder, filepath.Base(f.Name()), filepath.Base(path)); !errors.Is(err, fs.ErrExist) {
		return err
	}
	return nil // another process was quicker
}

func connect(path, option string, most int) (*sql.DB, error) {
	db, err := sql.Open("sqlite", address(path, option))
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(most)
	db.SetMaxIdleConns(most)
	return db, nil
}

func address(path, option string) string {
	path = filepath.ToSlash(path)
	if !strings.HasPrefix(path, "/") {
		path = "/" + path // C:/…
	}
	u := url.URL{Scheme: "file", Path: path}
	// The wait for another process comes first: it holds for the rest too.
	return u.String() + "?_pragma=busy_timeout(10000)&_pragma=page_size(8192)&_pragma=journal_mode(WAL)&_pragma=synchronous(NORMAL)&" + option
}

// prepare makes the tables, or checks that they are ours. All in one
// transaction, because another process may be doing the same.
func (d *database) prepare() error {
	tx, err := d.write.Begin()
	if err != nil {
		return err
	}
	defer tx.Rollback()
	var app, version, names int
	for query, into := range map[string]*int{
		"PRAGMA application_id": &app, "PRAGMA user_version": &version, "SELECT count(*) FROM sqlite_schema": &names,
	} {
		if err := tx.QueryRow(query).Scan(into); err != nil {
			return err
		}
	}
	steps := ""
	switch {
	case app == 0 && version == 0 && names == 0:
		steps = tables
	case app != application || names == 0:
		return errForeign
	case version > format:
		return ErrNewer
	default:
		for v := version; v < format; v++ {
			steps += upgrades[v]
		}
	}
	if steps == "" {
		return nil
	}
	steps += fmt.Sprintf("; PRAGMA application_id=%d; PRAGMA user_version=%d", application, format)
	if _, err := tx.Exec(steps); err != nil {
		return err
	}
	return tx.Commit()
}

func (d *database) close() error {
	if d == nil {
		return nil
	}
	var errs []error
	for _, db := range []*sql.DB{d.read, d.write} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	return errors.Join(errs...)
}

// damaged reports whether err says that the file itself is beyond use, rather
// than that something hinders its use.
func damaged(err error) bool {
	var e *sqlite.Error
	if errors.As(err, &e) {
		switch e.Code() & 0xff { // the primary code
		case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_FORMAT:
			return true
		}
	}
	return errors.Is(err, errForeign)
}

// beginAnew sets the ledger's files aside and makes a new one. The caller holds
// swap, or is alone.
func (l *Ledger) beginAnew() error {
	l.db.close()
	l.db = nil
	base := strings.TrimSuffix(l.path, ".db") + "-damaged-" + time.Now().UTC().Format("20060102-150405")
	aside := base + ".db"
	for n := 2; ; n++ {
		if _, err := os.Lstat(aside); errors.Is(err, fs.ErrNotExist) {
			break
		}
		aside = fmt.Sprintf("%s-%d.db", base, n)
	}
	for _, log := range []string{"-wal", "-shm"} {
		if err := os.Rename(l.path+log, aside+log); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("it is damaged and cannot be set aside: %w", err)
		}
	}
	if err := os.Rename(l.path, aside); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("it is damaged and cannot be set aside: %w", err)
	}
	var err error
	l.db, err = openDatabase(l.path)
	if err == nil {
		l.aside = aside
	}
	return err
}

// reading runs f on the database; should that find it damaged, again on a new
// one.
func (l *Ledger) reading(f func(*sql.DB) error) error {
	return l.using(func(d *database) error { return f(d.read) })
}

// writing runs f in a transaction of its own; should that find the database
// damaged, again on a new one.
func (l *Ledger) writing(f func(*sql.Tx) error) error {
	return l.using(func(d *database) error {
		tx, err := d.write.Begin()
		if err != nil {
			return err
		}
		defer tx.Rollback()
		if err := f(tx); err != nil {
			return err
		}
		return tx.Commit()
	})
}

// rows calls each for every row of a query. begin comes first, and makes empty what
// the rows are read into: where the database is found damaged, they come from a new one.
func (l *Ledger) rows(begin func(), each func(row *sql.Rows) error, query string, args ...any) error {
	return l.reading(func(db *sql.DB) error {
		begin()
		rows, err := db.Query(query, args...)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			if err := each(rows); err != nil {
				return err
			}
		}
		return rows.Err()
	})
}

// row reads the one row of a query into places; it tells false where there is none.
func (l *Ledger) row(places []any, query string, args ...any) (isThere bool, err error) {
	err = l.reading(func(db *sql.DB) error {
		err := db.QueryRow(query, args...).Scan(places...)
		isThere = err == nil
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		return err
	})
	return isThere, err
}

// exec is writing with one statement.
func (l *Ledger) exec(query string, args ...any) error {
	return l.writing(func(tx *sql.Tx) error {
		_, err := tx.Exec(query, args...)
		return err
	})
}

func (l *Ledger) using(f func(*database) error) error {
	l.swap.RLock()
	used := l.db
	var err error
	if used == nil { // set aside, and no new one could be made
		err = errForeign
	} else {
		err = f(used)
	}
	l.swap.RUnlock()
	if damaged(err) {
		l.swap.Lock()
		err = nil
		if l.db == used { // nobody was quicker
			err = l.beginAnew()
		}
		if err == nil {
			err = f(l.db)
		}
		l.swap.Unlock()
	}
	if err != nil {
		return fmt.Errorf("the ledger %s: %w", l.path, err)
	}
	return nil
}

// stamp and moment turn times into numbers and back. Times of the ledger are
// of this age; file times, which may be any, are packed otherwise.
func stamp(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixNano()
}

func moment(n int64) time.Time {
	if n == 0 {
		return time.Time{}
	}
	return time.Unix(0, n).UTC()
}
