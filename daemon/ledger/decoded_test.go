package ledger

import (
	"database/sql"
	"reflect"
	"testing"

	"linecamp/manifest"
	"linecamp/verify"
	"linecamp/verify/decode"
)

func TestDecoded(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	good, bad := manifest.Sum([]byte("good")), manifest.Sum([]byte("bad"))
	want := map[manifest.Digest]decode.Verdict{good: {State: decode.Good}, bad: {State: decode.Bad, Why: "its picture ends too soon"}}
	ok(t, l.SetDecoded(good, decode.Verdict{State: decode.Unasked, Why: "said before"}))
	for sum, v := range want {
		ok(t, l.SetDecoded(sum, v))
	}
	for range 2 {
		got, err := l.Decoded()
		ok(t, err)
		if !reflect.DeepEqual(got, want) {
			t.Errorf("got %v, want %v", got, want)
		}
		faults, err := l.Undecodable()
		ok(t, err)
		if len(faults) != 1 || faults[bad] != want[bad] {
			t.Errorf("faults %v", faults)
		}
		ok(t, l.Close())
		l = open(t, dir)
	}
	// What another version of the decoders said is asked again.
	ok(t, l.writing(func(tx *sql.Tx) error { _, err := tx.Exec("UPDATE decoded SET by = by + 1"); return err }))
	if got, err := l.Decoded(); err != nil || len(got) != 0 {
		t.Errorf("of another version: %v, %v", got, err)
	}
}

// TestALedgerOfTheFormatBefore: it gains the table that it lacks, and keeps what
// it has.
func TestALedgerOfTheFormatBefore(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	ok(t, l.Remember("copy", "object", []verify.Held{held("v1/content/a", "a")}))
	ok(t, l.Flush())
	ok(t, l.writing(func(tx *sql.Tx) error {
		_, err := tx.Exec("DROP TABLE decoded; DROP TABLE unseen; PRAGMA user_version = 1")
		return err
	}))
	ok(t, l.Close())
	l = open(t, dir)
	ok(t, l.SetDecoded(manifest.Sum(nil), decode.Verdict{State: decode.Good}))
	if got, err := l.Decoded(); err != nil || len(got) != 1 {
		t.Errorf("%v, %v", got, err)
	}
	if kept, err := l.Held("copy", "object"); err != nil || len(kept) != 1 {
		t.Errorf("of what a copy holds is left: %v, %v", kept, err)
	}
	if aside := l.SetAside(); aside != "" {
		t.Errorf("it was set aside: %s", aside)
	}
}
