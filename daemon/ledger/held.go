package ledger

import (
	"cmp"
	"database/sql"
	"errors"
	"maps"
	"slices"
	"strings"
	"time"

	"linecamp/manifest/packed"
	"linecamp/verify"
)

// place is one object on one copy.
type place struct{ copy, object string }

// change is something remembered that is still to be written.
type change struct {
	verify.Held
	// over says that other bytes were seen here in between, so that what the
	// database knows is of no use even if its digest is the same again.
	over bool
}

// merge adds what is newly known of a file to what was: other bytes make
// everything earlier void; of the same bytes, nothing known is forgotten.
func merge(was, is verify.Held) verify.Held {
	is.Files = cmp.Or(is.Files, was.Files) // of the path, whatever its bytes
	if was.SHA256 != is.SHA256 || was.Size != is.Size {
		return is
	}
	is.XXH64 = cmp.Or(is.XXH64, was.XXH64)
	is.ETag = cmp.Or(is.ETag, was.ETag)
	is.ReadBack = later(was.ReadBack, is.ReadBack)
	is.Confirmed = later(was.Confirmed, is.Confirmed)
	return is
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func (c *change) add(is verify.Held) {
	if c.SHA256 != is.SHA256 || c.Size != is.Size {
		c.over = true
	}
	c.Held = merge(c.Held, is)
}

// Remember adds to what is known of one object on one copy. A zero ReadBack,
// Confirmed, ETag or XXH64 leaves what was known, unless digest or size differ;
// of two times the later counts.
func (l *Ledger) Remember(copy, object string, held []verify.Held) error {
	if len(held) == 0 {
		return nil
	}
	return l.batch.add(160*len(held), func(next *batch) {
		at := place{copy, object}
		if next.held[at] == nil {
			next.held[at] = map[string]*change{}
		}
		for _, h := range held {
			h.ReadBack, h.Confirmed = h.ReadBack.UTC(), h.Confirmed.UTC()
			if c := next.held[at][h.Path]; c != nil {
				c.add(h)
			} else {
				next.held[at][h.Path] = &change{Held: h}
			}
		}
	})
}

// Held returns what is known of one object on one copy, by content path.
func (l *Ledger) Held(copy, object string) (map[string]verify.Held, error) {
	// The batches first: what is written meanwhile is then found twice, not
	// missed, and finding it twice changes nothing.
	var changes []change
	l.batch.look(func(b *batch) {
		for _, c := range b.held[place{copy, object}] {
			changes = append(changes, *c)
		}
	})
	var held map[string]verify.Held
	err := l.rows(func() { held = map[string]verify.Held{} }, func(row *sql.Rows) error {
		var packed sql.RawBytes
		err := row.Scan(&packed)
		unpackHeld(packed, held)
		return err
	}, "SELECT packed FROM held WHERE copy = ? AND object = ?", copy, object)
	if err != nil {
		return nil, err
	}
	apply(held, changes)
	return held, nil
}

func apply(held map[string]verify.Held, changes []change) {
	for _, c := range changes {
		was, ok := held[c.Path]
		switch {
		case ok && c.over:
			c.Files = cmp.Or(c.Files, was.Files) // of the path, whatever its bytes
		case ok:
			c.Held = merge(was, c.Held)
		}
		held[c.Path] = c.Held
	}
}

// byPart sorts things into the rows they belong to: one for each version of
// the object, which bounds a row's size as a version is bounded.
func byPart[T any](all []T, path func(T) string) map[string][]T {
	parts := map[string][]T{}
	for _, t := range all {
		part, _, _ := strings.Cut(path(t), "/")
		parts[part] = append(parts[part], t)
	}
	return parts
}

func (b *batch) writeHeld(tx *sql.Tx) error {
	for at, changed := range b.held {
		var all []change
		for _, c := range changed {
			all = append(all, *c)
		}
		for part, changes := range byPart(all, func(c change) string { return c.Path }) {
			held, err := readPart(tx, at, part)
			if err != nil {
				return err
			}
			apply(held, changes)
			if err := writePart(tx, at, part, held); err != nil {
				return err
			}
		}
	}
	return nil
}

func readPart(tx *sql.Tx, at place, part string) (map[string]verify.Held, error) {
	held := map[string]verify.Held{}
	var packed []byte
	err := tx.QueryRow("SELECT packed FROM held WHERE copy = ? AND object = ? AND part = ?", at.copy, at.object, part).Scan(&packed)
	if errors.Is(err, sql.ErrNoRows) {
		return held, nil
	}
	unpackHeld(packed, held)
	return held, err
}

func writePart(tx *sql.Tx, at place, part string, held map[string]verify.Held) error {
	if len(held) == 0 {
		_, err := tx.Exec("DELETE FROM held WHERE copy = ? AND object = ? AND part = ?", at.copy, at.object, part)
		return err
	}
	f := Sum(held)
	_, err := tx.Exec(`INSERT INTO held VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET
		files = excluded.files, bytes = excluded.bytes, read_files = excluded.read_files, read_bytes = excluded.read_bytes,
		oldest = excluded.oldest, confirmed = excluded.confirmed, packed = excluded.packed`,
		at.copy, at.object, part, f.Files, f.Bytes, f.ReadBackFiles, f.ReadBackBytes, stamp(f.OldestReadBack), f.Confirmed, packHeld(held))
	return err
}

// formOf is the form of a packed held file.
func formOf(f packed.Form, h *verify.Held) {
	const (
		hasXXH64 = 1 << iota
		hasETag
		hasReadBack
		hasConfirmed
		hasFiles
	)
	flags := f.Flags(h.XXH64 != 0, h.ETag != "", !h.ReadBack.IsZero(), !h.Confirmed.IsZero(), h.Files != 0)
	f.Text(&h.Path)
	packed.Digest(f, &h.SHA256)
	packed.Number(f, &h.Size)
	f.If(flags&hasXXH64 != 0).Fixed(&h.XXH64)
	f.If(flags&hasETag != 0).Text(&h.ETag)
	f.If(flags&hasReadBack != 0).Time(&h.ReadBack)
	f.If(flags&hasConfirmed != 0).Time(&h.Confirmed)
	packed.Number(f.If(flags&hasFiles != 0), &h.Files)
}

func packHeld(held map[string]verify.Held) []byte {
	p := packed.New(heldFormat, 16+128*len(held))
	p.Number(uint64(len(held)))
	for _, path := range slices.Sorted(maps.Keys(held)) {
		h := held[path]
		formOf(packed.Form{W: p}, &h)
	}
	return p.Sealed()
}

// unpackHeld adds a row to into. Of a damaged row nothing is known.
func unpackHeld(row []byte, into map[string]verify.Held) {
	u, err := packed.Unseal(heldFormat, row)
	if err != nil {
		return
	}
	if held, err := readHeld(u); err == nil {
		for _, h := range held {
			into[h.Path] = h
		}
	}
}

func readHeld(u *packed.Reader) ([]verify.Held, error) {
	const least = 1 + 1 + 32 + 1 // bytes an entry has
	n := u.Number()
	if n > uint64(u.Left()/least) {
		return nil, errPacked
	}
	held := make([]verify.Held, n)
	for i := range held {
		formOf(packed.Form{R: u}, &held[i])
	}
	return held, u.Err()
}

// Figures sums up files of a copy, in people's files: what linecamp keeps beside them is
// not counted.
type Figures struct {
	Files          int
	Bytes          int64
	ReadBackFiles  int       // files whose bytes were once read back and matched
	ReadBackBytes  int64     // and their bytes
	OldestReadBack time.Time // the longest ago of these read-backs; zero where there is none
	Confirmed      int       // files the server confirmed that were never read back
}

// Sum sums up files of a copy.
func Sum(held map[string]verify.Held) Figures {
	var f Figures
	for _, h := range held {
		if h.Files == 0 {
			continue
		}
		bytes := h.Size * int64(h.Files)
		f.Files += h.Files
		f.Bytes += bytes
		switch {
		case !h.ReadBack.IsZero():
			if f.ReadBackFiles == 0 || h.ReadBack.Before(f.OldestReadBack) {
				f.OldestReadBack = h.ReadBack
			}
			f.ReadBackFiles += h.Files
			f.ReadBackBytes += bytes
		case !h.Confirmed.IsZero():
			f.Confirmed += h.Files
		}
	}
	return f
}

// Plus adds what other files come to.
func (f Figures) Plus(o Figures) Figures {
	if f.OldestReadBack.IsZero() || !o.OldestReadBack.IsZero() && o.OldestReadBack.Before(f.OldestReadBack) {
		f.OldestReadBack = o.OldestReadBack
	}
	f.Files, f.Bytes = f.Files+o.Files, f.Bytes+o.Bytes
	f.ReadBackFiles, f.ReadBackBytes = f.ReadBackFiles+o.ReadBackFiles, f.ReadBackBytes+o.ReadBackBytes
	f.Confirmed += o.Confirmed
	return f
}

// Figures sums up what this state noted of each object on a copy.
func (l *Ledger) Figures(copy string) (map[string]Figures, error) {
	if err := l.Flush(); err != nil {
		return nil, err
	}
	var all map[string]Figures
	err := l.rows(func() { all = map[string]Figures{} }, func(row *sql.Rows) error {
		var object string
		var f Figures
		var oldest int64
		err := row.Scan(&object, &f.Files, &f.Bytes, &f.ReadBackFiles, &f.ReadBackBytes, &oldest, &f.Confirmed)
		f.OldestReadBack = moment(oldest)
		all[object] = f
		return err
	}, `SELECT object, sum(files), sum(bytes), sum(read_files), sum(read_bytes), coalesce(min(nullif(oldest, 0)), 0), sum(confirmed)
		FROM held WHERE copy = ? GROUP BY object`, copy)
	return all, err
}
