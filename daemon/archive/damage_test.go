package archive

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/klauspost/compress/zstd"

	"linecamp/daemon/config"
	"linecamp/verify"
)

// An archive opened with the ledger of an earlier release, which kept damage
// under names: it is there under the names of the settings, also of today's.
func TestAnOldLedgerKeepsItsDamage(t *testing.T) {
	packed, err := os.ReadFile(filepath.Join("..", "ledger", "testdata", "format-2.db.zst"))
	if err != nil {
		t.Fatal(err)
	}
	d, err := zstd.NewReader(nil)
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	b, err := d.DecodeAll(packed, nil)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "ledger.db"), b, 0o600); err != nil {
		t.Fatal(err)
	}
	cfg := config.Archive{Name: "saltbush-draw", State: dir, Copies: []config.Copy{
		{Name: "Shelf", Kind: config.KindDrive, ID: "3f6c0d52-8a31-4c1e-9d57-0b6a4f2e7c19", Root: filepath.Join(dir, "none")}}}
	for _, name := range []string{"Shelf", "barn"} { // renamed after it was opened once
		cfg.Copies[0].Name = name
		a, err := Open(cfg, Options{})
		if err != nil {
			t.Fatal(err)
		}
		damage, err := a.Damage()
		if err != nil || len(damage) != 2 || damage[0].Copy != name || damage[0].Kind != verify.Altered || damage[1].Copy != verify.WorkingName {
			t.Errorf("as %s there is %+v, %v", name, damage, err)
		}
		if err := a.Close(); err != nil {
			t.Error(err)
		}
	}
}
