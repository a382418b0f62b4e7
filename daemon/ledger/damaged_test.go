package ledger

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"linecamp/manifest/walk"
	"linecamp/verify"
)

// fill makes a ledger with a good deal in it.
func fill(t *testing.T, dir string) {
	t.Helper()
	l := open(t, dir)
	for i := range 400 {
		var all []walk.Known
		for j := range 20 {
			all = append(all, some(fmt.Sprintf("%d-%d.jpg", i, j)))
		}
		ok(t, l.SetFolder(fmt.Sprintf("s/%d", i), all))
	}
	shut(t, l)
}

func TestADamagedLedgerIsBegunAnew(t *testing.T) {
	for name, harm := range map[string]func(b []byte) []byte{
		"not a database":  func(b []byte) []byte { return []byte(strings.Repeat("nonsense ", 1000)) },
		"header gone":     func(b []byte) []byte { copy(b, make([]byte, 100)); return b },
		"cut off":         func(b []byte) []byte { return b[:len(b)/3] },
		"not one of ours": func(b []byte) []byte { copy(b[68:], "ABCD"); return b }, // application_id, SQLite file format §1.3
		"pages overwritten": func(b []byte) []byte {
			for i := 8192; i < len(b); i++ {
				b[i] = byte(i * 7)
			}
			return b
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			fill(t, dir)
			path := filepath.Join(dir, "ledger.db")
			b, err := os.ReadFile(path)
			ok(t, err)
			ok(t, os.WriteFile(path, harm(b), 0o600))

			l := open(t, dir)
			for i := range 400 { // reading finds what opening did not
				if _, err := l.Folder(fmt.Sprintf("s/%d", i)); err != nil {
					t.Fatal(err)
				}
			}
			want := []walk.Known{some("new.jpg")}
			ok(t, l.SetFolder("s/1", want))
			ok(t, l.SetValue("k", "v"))
			aside := l.SetAside()
			shut(t, l)
			if _, err := os.Stat(aside); aside == "" || err != nil {
				t.Errorf("the damaged one is at %q: %v", aside, err)
			}
			l = open(t, dir)
			defer shut(t, l)
			if got, err := l.Folder("s/1"); err != nil || !reflect.DeepEqual(got, want) {
				t.Errorf("in the new one: %v, %v", got, err)
			}
			if l.SetAside() != "" {
				t.Error("the new one was set aside too")
			}
		})
	}
}

func TestDamageFoundInTheMiddle(t *testing.T) {
	dir := t.TempDir()
	fill(t, dir)
	l := open(t, dir)
	defer shut(t, l)
	path := filepath.Join(dir, "ledger.db")
	b, err := os.ReadFile(path)
	ok(t, err)
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	ok(t, err)
	_, err = f.WriteAt([]byte(strings.Repeat("\xa5", len(b)-8192)), 8192)
	ok(t, errors.Join(err, f.Close()))
	ok(t, l.SetFolder("s/1", []walk.Known{some("new.jpg")}))
	ok(t, l.Flush())
	if got, err := l.Folder("s/1"); err != nil || len(got) != 1 {
		t.Errorf("got %v, %v", got, err)
	}
	if l.SetAside() == "" {
		t.Error("the damaged ledger is still in use")
	}
}

func TestALedgerOfANewerLinecampIsKept(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	_, err := l.db.write.Exec("PRAGMA user_version = 99")
	ok(t, err)
	shut(t, l)
	if l, err := Open(dir); !errors.Is(err, ErrNewer) {
		t.Errorf("got %v, %v; want ErrNewer", l, err)
	}
	entries, err := filepath.Glob(filepath.Join(dir, "*damaged*"))
	if err != nil || entries != nil {
		t.Errorf("it was set aside: %v, %v", entries, err)
	}
}

func TestARottenRowIsUnknown(t *testing.T) {
	l := open(t, t.TempDir())
	defer shut(t, l)
	h := held("v1/content/a", "a")
	ok(t, l.SetFolder("s", []walk.Known{some("a")}))
	ok(t, l.Remember("shelf", "o", []verify.Held{h}))
	ok(t, l.Flush())
	_, err := l.db.write.Exec("UPDATE folder SET known = substr(known, 1, 20) || x'00' || substr(known, 22); UPDATE held SET packed = x'0100'")
	ok(t, err)
	if got, err := l.Folder("s"); err != nil || got != nil {
		t.Errorf("folder: %v, %v", got, err)
	}
	if got, err := l.Held("shelf", "o"); err != nil || len(got) != 0 {
		t.Errorf("held: %v, %v", got, err)
	}
	ok(t, l.Remember("shelf", "o", []verify.Held{h}))
	ok(t, l.Flush())
	if got, err := l.Held("shelf", "o"); err != nil || len(got) != 1 {
		t.Errorf("held again: %v, %v", got, err)
	}
}

func TestAFullDiskIsSaid(t *testing.T) {
	l := open(t, t.TempDir())
	_, err := l.db.write.Exec("PRAGMA max_page_count = 1")
	ok(t, err)
	var errs []error
	for i := range 100 {
		errs = append(errs, l.SetFolder(fmt.Sprint(i), make([]walk.Known, 1000)))
	}
	errs = append(errs, l.Flush())
	if err := errors.Join(errs...); err == nil || !strings.Contains(err.Error(), "full") {
		t.Errorf("got %v, want that it is full", err)
	}
	shut(t, l) // nothing is left to complain about
}
