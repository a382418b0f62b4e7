package ledger

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"github.com/klauspost/compress/zstd"

	"linecamp/manifest"
	"linecamp/manifest/seal"
)

func inventory(t *testing.T) []byte {
	t.Helper()
	state := map[string]manifest.Digest{}
	record := manifest.Record{Site: "Windmill", Paths: map[string]manifest.Entry{}}
	for _, name := range []string{"2019-06-21/plot.jpg", "2019-06-21/notes.txt"} {
		state[name] = manifest.Sum([]byte(name))
		record.Paths[name] = manifest.Entry{Bytes: int64(len(name)), Modified: day(1), Kind: manifest.KindPhoto}
	}
	draft, err := manifest.New("linecamp:saltbush-draw:windmill").Add(manifest.Next{
		Created: day(1).Truncate(1e9), User: manifest.User{Name: "office", Address: "urn:uuid:3f6c0d52-8a31-4c1e-9d57-0b6a4f2e7c19"},
		State: state, Record: record,
	})
	ok(t, err)
	return draft.Inventory.Encode()
}

func TestInventoriesAreCached(t *testing.T) {
	dir := t.TempDir()
	c := OpenInventories(dir)
	if all, err := c.All(); err != nil || all != nil {
		t.Errorf("at first: %v, %v", all, err)
	}
	if _, err := c.Get("windmill"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("at first: %v", err)
	}
	b := inventory(t)
	ok(t, c.Put("windmill", []byte("earlier")))
	ok(t, c.Put("windmill", b))
	ok(t, c.Put("stake-3", b))
	inv, err := c.Get("windmill")
	ok(t, err)
	if !bytes.Equal(inv.Encode(), b) {
		t.Error("it comes back changed")
	}
	if all, err := c.All(); err != nil || !slices.Equal(all, []string{"stake-3", "windmill"}) {
		t.Errorf("all: %v, %v", all, err)
	}
	for _, object := range []string{"", "../x", "a/b", "A", "a.b"} {
		if err := c.Put(object, b); err == nil {
			t.Errorf("%q was taken", object)
		}
		if _, err := c.Get(object); err == nil {
			t.Errorf("%q was found", object)
		}
	}
	ok(t, c.Put("odd", []byte("{}")))
	if _, err := c.Get("odd"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("not an inventory: %v", err)
	}
}

func TestADamagedInventoryIsAbsent(t *testing.T) {
	c := OpenInventories(t.TempDir())
	good := inventory(t)
	ok(t, c.Put("windmill", good))
	path, err := c.file("windmill")
	ok(t, err)
	whole, err := os.ReadFile(path)
	ok(t, err)
	for i := range whole { // each byte in turn
		b := bytes.Clone(whole)
		b[i] ^= 0x10
		ok(t, os.WriteFile(path, b, 0o600))
		// Some bits mean nothing (RFC 8878, section 3.1.1.1.1: "Unused_Bit");
		// what comes back must be right all the same.
		if inv, err := c.Get("windmill"); err == nil && !bytes.Equal(inv.Encode(), good) || err != nil && !errors.Is(err, fs.ErrNotExist) {
			t.Fatalf("byte %d changed: %v", i, err)
		}
	}
	for _, n := range []int{0, 7, 40, len(whole) - 1} {
		ok(t, os.WriteFile(path, whole[:n], 0o600))
		if _, err := c.Get("windmill"); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("cut off at %d: %v", n, err)
		}
	}
}

func TestABombIsNotUnpacked(t *testing.T) {
	c := OpenInventories(t.TempDir())
	path, err := c.file("windmill")
	ok(t, err)
	// A frame that does not say how large it is, of twice what is allowed.
	var b bytes.Buffer
	zeros := make([]byte, 1<<20)
	digest := manifest.Sum(zeros)
	b.Write(digestFrame)
	b.Write(digest[:])
	w, err := zstd.NewWriter(&b, zstd.WithEncoderConcurrency(1))
	ok(t, err)
	for range 2 * MostInventory / len(zeros) {
		if _, err := w.Write(zeros); err != nil {
			t.Fatal(err)
		}
	}
	ok(t, w.Close())
	ok(t, os.MkdirAll(filepath.Dir(path), 0o700))
	ok(t, os.WriteFile(path, b.Bytes(), 0o600))
	_, err = c.Get("windmill")
	if !errors.Is(err, fs.ErrNotExist) || !errors.Is(err, zstd.ErrDecoderSizeExceeded) {
		t.Errorf("%d bytes that unpack to %d: %v", b.Len(), 2*MostInventory, err)
	}
}

// Outside check: RFC 8878, by the zstd program (Debian package zstd).
func TestTheZstdProgramUnpacksInventories(t *testing.T) {
	program, err := exec.LookPath("zstd")
	if err != nil {
		t.Skip("the zstd program is not installed")
	}
	c := OpenInventories(t.TempDir())
	b := inventory(t)
	ok(t, c.Put("windmill", b))
	path, err := c.file("windmill")
	ok(t, err)
	got, err := exec.Command(program, "-dc", path).Output()
	if err != nil || !bytes.Equal(got, b) {
		t.Errorf("it gives %d bytes of %d: %v", len(got), len(b), err)
	}
}

func sealOf(t *testing.T, n int, why string) *seal.Seal {
	t.Helper()
	s := &seal.Seal{}
	for i := 1; i <= n; i++ {
		ok(t, s.Append(seal.Line{N: i, At: day(1).Truncate(1e9), What: "gave-up", Copy: "3f6c0d52-8a31-4c1e-9d57-0b6a4f2e7c19", Why: why}))
	}
	return s
}

func TestTheSealIsOnlyAddedTo(t *testing.T) {
	dir := t.TempDir()
	c := OpenInventories(dir)
	if _, err := c.Seal(); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("at first: %v", err)
	}
	check := func(want *seal.Seal) {
		t.Helper()
		got, err := c.Seal()
		ok(t, err)
		if got.Digest() != want.Digest() || got.Len() != want.Len() {
			t.Errorf("it has %d lines, want %d", got.Len(), want.Len())
		}
	}
	for _, n := range []int{1, 2, seal.MostLines, seal.MostLines + 1, 3 * seal.MostLines} {
		ok(t, c.PutSeal(sealOf(t, n, "stolen")))
		check(sealOf(t, n, "stolen"))
	}
	last := sealOf(t, 3*seal.MostLines, "stolen")
	for name, other := range map[string]*seal.Seal{
		"shorter": sealOf(t, 5, "stolen"),
		"other":   sealOf(t, 3*seal.MostLines+1, "lent"),
		"none":    {},
	} {
		if err := c.PutSeal(other); !errors.Is(err, ErrOtherSeal) {
			t.Errorf("%s: got %v, want ErrOtherSeal", name, err)
		}
	}
	check(last)
	ok(t, c.PutSeal(last))
	check(last)

	path := filepath.Join(dir, "seal", "00001.txt")
	b, err := os.ReadFile(path)
	ok(t, err)
	ok(t, os.WriteFile(path, append(b[:100], 'x'), 0o600))
	if _, err := c.Seal(); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("damaged: %v", err)
	}
	ok(t, c.PutSeal(sealOf(t, 2, "stolen")))
	check(sealOf(t, 2, "stolen"))

	// A bit that leaves every line a line, and a check that a power cut tore.
	path = filepath.Join(dir, "seal", "00000.txt")
	b, err = os.ReadFile(path)
	ok(t, err)
	bent := bytes.Replace(b, []byte("stolen"), []byte("stoleo"), 1)
	ok(t, os.WriteFile(path, bent, 0o600))
	if _, err := c.Seal(); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a bent line: %v", err)
	}
	ok(t, os.WriteFile(path, b, 0o600))
	whole, err := os.ReadFile(filepath.Join(dir, "seal", "check.txt"))
	ok(t, err)
	for n := range len(whole) {
		ok(t, os.WriteFile(filepath.Join(dir, "seal", "check.txt"), whole[:n], 0o600))
		check(sealOf(t, 2, "stolen"))
	}

	if aside, err := filepath.Glob(filepath.Join(dir, "seal-damaged-*", "00001.txt")); err != nil || len(aside) != 1 {
		t.Errorf("the damaged one: %v, %v", aside, err)
	}
}
