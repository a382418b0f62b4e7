package manifest

import (
	"bytes"
	"errors"
	"fmt"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"unicode/utf8"
)

// JSON that is made to take a reader's memory or stack is refused with the
// reason, for about what its own bytes cost.
func TestDecodeHostileJSON(t *testing.T) {
	million := func(begin, each, end string) []byte {
		var b bytes.Buffer
		b.WriteString(begin)
		for i := range 1_000_000 {
			if i > 0 {
				b.WriteByte(',')
			}
			fmt.Fprintf(&b, each, i)
		}
		b.WriteString(end)
		return b.Bytes()
	}
	const head = `{"digestAlgorithm":"sha256","head":"v1","id":"linecamp:saltbush-draw:windmill","type":"https://ocfl.io/1.1/spec/#inventory",`
	for name, b := range map[string][]byte{
		"nested lists":         []byte(strings.Repeat("[", 10<<20)),
		"nested objects":       []byte(strings.Repeat(`{"a":`, 2<<20)),
		"nested where a value": []byte(head + `"manifest":` + strings.Repeat(`{"a":`, 2<<20)),
		"a million keys":       million("{", `"k%d":1`, "}"),
		"a million digests":    million(head+`"manifest":{`, `"%064x":["v1/content/../../etc/passwd"]`, "}}"),
		"a million paths":      million(head+`"manifest":{"`+strings.Repeat("a", 64)+`":[`, `"v1/content/%d"`, "]}}"),
		"a million versions":   million(head+`"versions":{`, `"v%d":{}`, "}}"),
		"a long key":           []byte(`{"` + strings.Repeat("k", 20<<20) + `":1}`),
		"a long number":        []byte(`{"a":` + strings.Repeat("9", 20<<20) + `}`),
		"only white space":     bytes.Repeat([]byte(" "), 20<<20),
		"a record of a million": million(`{"format":"linecamp record 1","site":"","pasture":"","base":"","paths":{`,
			`"../%d":{"bytes":1,"modified":"2019-06-21T10:11:12Z","kind":"photo"}`, "}}"),
	} {
		t.Run(name, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			_, ierr := DecodeInventory(b)
			_, rerr := DecodeRecord(b)
			runtime.ReadMemStats(&after)
			if !errors.Is(ierr, ErrInventory) || !errors.Is(rerr, ErrRecord) {
				t.Errorf("%v, %v", ierr, rerr)
			}
			for _, err := range []error{ierr, rerr} {
				if err != nil && len(err.Error()) > 1000 {
					t.Errorf("a message of %d bytes", len(err.Error()))
				}
			}
			// A digest's 64 digits become 32 bytes with a list beside them: a few
			// times the text, never more.
			if n := after.TotalAlloc - before.TotalAlloc; n > uint64(len(b))*8+(8<<20) {
				t.Errorf("%d MiB for %d MiB of text", n>>20, len(b)>>20)
			}
		})
	}
}

func FuzzCheckSidecar(f *testing.F) {
	f.Add([]byte("{}"), Sidecar([]byte("{}")))
	f.Add([]byte(""), []byte("e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855 inventory.json\n"))
	f.Fuzz(func(t *testing.T, inventory, sidecar []byte) {
		if err := CheckSidecar(inventory, sidecar); (err == nil) != bytes.Equal(sidecar, Sidecar(inventory)) {
			t.Fatalf("%q: %v", sidecar, err)
		} else if err != nil && !errors.Is(err, ErrSidecar) {
			t.Fatal(err)
		}
		if CheckSidecar(inventory, Sidecar(inventory)) != nil {
			t.Fatal("our own is refused")
		}
	})
}

// A logical path that is accepted stays inside whatever it is joined to.
func FuzzCheckPath(f *testing.F) {
	for _, s := range []string{"2019/plot.jpg", "../../etc/passwd", "/etc/passwd", "a//b", "a/.", "CON", "a\x00b", "\xff"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if CheckPath(s) != nil {
			return
		}
		const top = "/top"
		joined := filepath.Join(top, s)
		if !utf8.ValidString(s) || strings.Contains(s, "\x00") || joined != top+"/"+s {
			t.Fatalf("accepted %q", s)
		}
	})
}
