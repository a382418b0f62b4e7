package ledger

import (
	"bytes"
	"database/sql"
	"maps"
	"slices"
	"sync"
	"time"
	"unique"

	"linecamp/manifest/packed"
	"linecamp/manifest/walk"
)

// SetFolder replaces what is known of the files in one folder; nil forgets it.
// It also forgets the first sight of every file it names.
func (l *Ledger) SetFolder(dir string, known []walk.Known) error {
	var row []byte
	if known != nil {
		row = packKnown(known)
	}
	settled := l.first.settle(dir, known)
	return l.batch.add(len(dir)+len(row), func(next *batch) {
		next.folders[dir] = row
		for _, path := range settled {
			next.sights[path] = 0
		}
	})
}

// Folder returns what is known of the files in one folder; nil if nothing is.
func (l *Ledger) Folder(dir string) ([]walk.Known, error) {
	var row []byte
	fresh := false
	l.batch.look(func(b *batch) {
		if r, ok := b.folders[dir]; ok {
			row, fresh = r, true
		}
	})
	if !fresh {
		var err error
		if row, err = l.folders.get(l, dir); err != nil {
			return nil, err
		}
	}
	if row == nil {
		return nil, nil
	}
	known, err := unpackKnown(row)
	if err != nil {
		return nil, nil // damaged: unknown
	}
	return known, nil
}

func (b *batch) writeFolders(tx *sql.Tx) error {
	if len(b.folders) == 0 {
		return nil
	}
	set, err := tx.Prepare("INSERT INTO folder VALUES (?, ?) ON CONFLICT DO UPDATE SET known = excluded.known")
	if err != nil {
		return err
	}
	defer set.Close()
	for _, dir := range slices.Sorted(maps.Keys(b.folders)) {
		if row := b.folders[dir]; row == nil {
			_, err = tx.Exec("DELETE FROM folder WHERE dir = ?", []byte(dir))
		} else {
			_, err = set.Exec([]byte(dir), row)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

const (
	pageRows  = 512
	pageBytes = 1 << 20
	mostPages = 8
)

// pages are folders read ahead. A walk asks for folders roughly in byte order,
// so one query serves the next few hundred of its questions.
type pages struct {
	mu  sync.Mutex // held while a page is read, too
	all []*page    // the one used last at the end
}

// page holds every row from one folder on until another, both included.
type page struct {
	from, to string
	open     bool // there is no row after from that is not here
	rows     map[string][]byte
}

func (p *page) covers(dir string) bool { return dir >= p.from && (p.open || dir <= p.to) }

func (ps *pages) clear() {
	ps.mu.Lock()
	ps.all = nil
	ps.mu.Unlock()
}

// get returns a folder's row, nil if there is none.
func (ps *pages) get(l *Ledger, dir string) ([]byte, error) {
	ps.mu.Lock()
	defer ps.mu.Unlock()
	for i := len(ps.all) - 1; i >= 0; i-- {
		if p := ps.all[i]; p.covers(dir) {
			ps.all = append(slices.Delete(ps.all, i, i+1), p)
			return p.rows[dir], nil
		}
	}
	p, err := l.readPage(dir)
	if err != nil {
		return nil, err
	}
	if len(ps.all) == mostPages {
		ps.all = slices.Delete(ps.all, 0, 1)
	}
	ps.all = append(ps.all, p)
	return p.rows[dir], nil
}

func (l *Ledger) readPage(dir string) (*page, error) {
	var p *page
	err := l.reading(func(db *sql.DB) error {
		p = &page{from: dir, to: dir, rows: map[string][]byte{}}
		rows, err := db.Query("SELECT dir, known FROM folder WHERE dir >= ? ORDER BY dir LIMIT ?", []byte(dir), pageRows)
		if err != nil {
			return err
		}
		defer rows.Close()
		size := 0
		for rows.Next() {
			var name, known sql.RawBytes
			if err := rows.Scan(&name, &known); err != nil {
				return err
			}
			p.to = string(name)
			p.rows[p.to] = bytes.Clone(known)
			if size += len(known); size > pageBytes {
				return nil
			}
		}
		p.open = len(p.rows) < pageRows
		return rows.Err()
	})
	return p, err
}

// formOfKnown is the form of a packed file.
func formOfKnown(f packed.Form, k *walk.Known) {
	const (
		hasModified = 1 << iota
		hasChanged
		hasTaken
		hasPosition
		isExposed
		hasFault
		hasPicture // camera, turn and size
		hasText    // topics, and whether it is blank
	)
	flags := f.Flags(!k.Modified.IsZero(), !k.Changed.IsZero(), k.Taken != "", k.At != nil, k.Exposed, k.Fault != "",
		k.Camera != "" || k.Turn != 0 || k.Width != 0 || k.Height != 0, k.Topics != 0 || k.Blank)
	k.Exposed = flags&isExposed != 0
	f.Text(&k.Name)
	packed.Number(f, &k.Size)
	packed.Number(f, &k.Inode)
	packed.Digest(f, &k.SHA256)
	f.Fixed(&k.XXH64)
	f.If(flags&hasModified != 0).Time(&k.Modified)
	f.If(flags&hasChanged != 0).Time(&k.Changed)
	f.If(flags&hasTaken != 0).Text(&k.Taken)
	f.If(flags&hasPosition != 0).Fix(&k.At)
	f.If(flags&hasFault != 0).Text(&k.Fault)
	if flags&hasPicture != 0 {
		f.Text(&k.Camera)
		f.Byte(&k.Turn)
		packed.Number(f, &k.Width)
		packed.Number(f, &k.Height)
	}
	if flags&hasText != 0 {
		f.Byte((*byte)(&k.Topics))
		f.Flag(&k.Blank)
	}
}

func packKnown(known []walk.Known) []byte {
	p := packed.New(knownFormat, 16+112*len(known))
	p.Number(uint64(len(known)))
	for _, k := range known {
		formOfKnown(packed.Form{W: p}, &k)
	}
	return p.Sealed()
}

func unpackKnown(row []byte) ([]walk.Known, error) {
	u, err := packed.Unseal(knownFormat, row)
	if err != nil {
		return nil, err
	}
	return readKnown(u)
}

func readKnown(u *packed.Reader) ([]walk.Known, error) {
	const least = 1 + 1 + 1 + 1 + 32 + 8 // bytes an entry has
	n := u.Number()
	if n > uint64(u.Left()/least) {
		return nil, errPacked
	}
	known := make([]walk.Known, n)
	for i := range known {
		k := &known[i]
		formOfKnown(packed.Form{R: u}, k)
		k.Camera = unique.Make(k.Camera).Value() // few cameras take all the photos
		if k.At != nil && (!k.At.Valid() || !(k.At.Error >= 0)) {
			u.Fail()
		}
	}
	return known, u.Err()
}

// sightKept is how long a file may be waiting and be remembered for it.
const sightKept = 7 * 24 * time.Hour

// sights are the files first seen waiting. There are few, so all are in memory.
type sights struct {
	mu sync.Mutex
	at map[string]time.Time
}

// FirstSeen returns when the file at path was first seen waiting, and remembers
// now if it was not, or over a week ago, or in the future: the clock was wrong.
func (l *Ledger) FirstSeen(path string, now time.Time) (time.Time, error) {
	l.first.mu.Lock()
	at, ok := l.first.at[path]
	ok = ok && !at.After(now) && now.Sub(at) <= sightKept
	if !ok {
		at = now.UTC()
		l.first.at[path] = at
	}
	l.first.mu.Unlock()
	if ok {
		return at, nil
	}
	return at, l.batch.add(len(path), func(next *batch) { next.sights[path] = stamp(at) })
}

// settle forgets the first sight of the files known, and returns their paths.
func (s *sights) settle(dir string, known []walk.Known) []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.at) == 0 {
		return nil
	}
	if dir != "" {
		dir += "/"
	}
	var settled []string
	for i := range known {
		path := dir + known[i].Name
		if _, ok := s.at[path]; ok {
			delete(s.at, path)
			settled = append(settled, path)
		}
	}
	return settled
}

func (l *Ledger) loadSights(now time.Time) error {
	if err := l.exec("DELETE FROM sight WHERE at < ?", stamp(now.Add(-sightKept))); err != nil {
		return err
	}
	return l.rows(func() { l.first.at = map[string]time.Time{} }, func(row *sql.Rows) error {
		var path []byte
		var at int64
		err := row.Scan(&path, &at)
		l.first.at[string(path)] = moment(at)
		return err
	}, "SELECT path, at FROM sight")
}

func (b *batch) writeSights(tx *sql.Tx) error {
	for _, path := range slices.Sorted(maps.Keys(b.sights)) {
		query, a := "DELETE FROM sight WHERE path = ?", []any{[]byte(path)}
		if at := b.sights[path]; at != 0 {
			query, a = "INSERT INTO sight VALUES (?, ?) ON CONFLICT DO UPDATE SET at = excluded.at", append(a, at)
		}
		if _, err := tx.Exec(query, a...); err != nil {
			return err
		}
	}
	return nil
}
