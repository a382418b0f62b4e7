package manifest

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"
)

// large is a site of n files in visits of 20, and the Next of its first version.
func large(b *testing.B, n int) Next {
	b.Helper()
	next := Next{Created: testTime, User: testUser, State: map[string]Digest{}, Record: Record{Site: "Stake 3", Paths: map[string]Entry{}}}
	for i := range n {
		visit := time.Date(1970, 1, 1+i/20, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
		p := fmt.Sprintf("%s/IMG_%05d landscape.jpg", visit, i)
		next.State[p] = sum(p)
		next.Record.Paths[p] = Entry{Bytes: int64(i), Modified: testTime, Visit: visit, View: "landscape", Kind: KindPhoto}
	}
	return next
}

// The limit of each is what the standard library needs for the same bytes.
func Benchmark200kFiles(b *testing.B) {
	n := large(b, 200_000)
	draft, err := New(testID).Add(n)
	if err != nil {
		b.Fatal(err)
	}
	inv, encoded := draft.Inventory, draft.Encoded
	record, text := &n.Record, draft.Record

	var doc any
	start := time.Now()
	if err := json.Unmarshal(encoded, &doc); err != nil {
		b.Fatal(err)
	}
	limitDecode := time.Since(start)
	start = time.Now()
	if _, err := json.MarshalIndent(doc, "", "  "); err != nil {
		b.Fatal(err)
	}
	limitEncode := time.Since(start)
	doc = nil

	run := func(name string, size int, limit time.Duration, work func() error) {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(size))
			b.ReportAllocs()
			for b.Loop() {
				if err := work(); err != nil {
					b.Fatal(err)
				}
			}
			if limit > 0 {
				b.ReportMetric(float64(b.Elapsed())/float64(b.N)/float64(limit), "of-encoding/json")
			}
		})
	}
	run("encode", len(encoded), limitEncode, func() error { inv.Encode(); return nil })
	run("decode", len(encoded), limitDecode, func() error { _, err := DecodeInventory(encoded); return err })
	run("add", len(encoded), 0, func() error { _, err := New(testID).Add(n); return err })
	run("history", 0, 0, func() error { inv.FullHistory(); return nil })
	run("record-encode", len(text), 0, func() error { record.Encode(); return nil })
	run("record-decode", len(text), 0, func() error { _, err := DecodeRecord(text); return err })
}
