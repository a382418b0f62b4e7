package ledger

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
)

func TestRecordsAreKeptAndCheckedWhole(t *testing.T) {
	dir := t.TempDir()
	c := OpenInventories(dir)
	if _, err := c.Record("north--windmill"); !errors.Is(err, fs.ErrNotExist) {
		t.Fatalf("a record nobody kept: %v", err)
	}
	want := `{"format": "linecamp record 1"}`
	if err := c.PutRecord("north--windmill", []byte(want)); err != nil {
		t.Fatal(err)
	}
	if got, err := c.Record("north--windmill"); err != nil || string(got) != want {
		t.Fatalf("got %q, %v", got, err)
	}
	name := filepath.Join(dir, "records", "north--windmill"+packedSuffix)
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	b[len(b)-5] ^= 1
	if err := os.WriteFile(name, b, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := c.Record("north--windmill"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a damaged record: %v, want it absent", err)
	}
	if err := c.PutRecord("../outside", nil); err == nil {
		t.Error("a name that leads out of the folder was taken")
	}
}
