package ledger

import (
	"database/sql"

	"linecamp/manifest"
	"linecamp/verify/decode"
)

// What decoding told of pictures, by the digest of their bytes. It holds for
// ever, but for what other decoders may say: each row has the version of those
// that were asked.

// SetDecoded remembers what decoding told of a content.
func (l *Ledger) SetDecoded(sum manifest.Digest, v decode.Verdict) error {
	return l.batch.add(len(sum)+len(v.Why), func(next *batch) { next.decoded[sum] = v })
}

// Decoded returns all that decoding told.
func (l *Ledger) Decoded() (map[manifest.Digest]decode.Verdict, error) {
	return l.readDecoded("SELECT digest, state, why FROM decoded WHERE by = ?", decode.Version)
}

// Undecodable returns what does not decode.
func (l *Ledger) Undecodable() (map[manifest.Digest]decode.Verdict, error) {
	return l.readDecoded("SELECT digest, state, why FROM decoded WHERE state = ? AND by = ?", int(decode.Bad), decode.Version)
}

func (l *Ledger) readDecoded(query string, args ...any) (all map[manifest.Digest]decode.Verdict, err error) {
	if err := l.Flush(); err != nil {
		return nil, err
	}
	err = l.rows(func() { all = map[manifest.Digest]decode.Verdict{} }, func(row *sql.Rows) error {
		var sum []byte
		var v decode.Verdict
		err := row.Scan(&sum, &v.State, &v.Why)
		if len(sum) == len(manifest.Digest{}) {
			all[manifest.Digest(sum)] = v
		}
		return err
	}, query, args...)
	return all, err
}

func (b *batch) writeDecoded(tx *sql.Tx) error {
	for sum, v := range b.decoded {
		if _, err := tx.Exec("INSERT INTO decoded VALUES (?, ?, ?, ?) ON CONFLICT DO UPDATE SET state = excluded.state, why = excluded.why, by = excluded.by",
			sum[:], int(v.State), v.Why, decode.Version); err != nil {
			return err
		}
	}
	return nil
}
