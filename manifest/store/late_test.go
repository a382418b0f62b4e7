package store_test

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

// forked is a log that shares the first lines with sealOf and goes another way from
// there on.
func forked(t testing.TB, shared, lines int) *seal.Seal {
	t.Helper()
	s := new(seal.Seal)
	for n := 1; n <= lines; n++ {
		l := sealLine(n)
		if n > shared {
			l.Inventory = manifest.Sum([]byte{1, byte(n), byte(n >> 8)})
		}
		must(t, s.Append(l))
	}
	return s
}

// late are the digests of the logs that a root keeps of other histories, in order.
func late(t testing.TB, r store.Root) []string {
	t.Helper()
	var all []string
	for s, err := range store.LateLogs(t.Context(), r) {
		must(t, err)
		all = append(all, s.Digest().String())
	}
	slices.Sort(all)
	return all
}

func digests(logs ...*seal.Seal) []string {
	var all []string
	for _, s := range logs {
		all = append(all, s.Digest().String())
	}
	slices.Sort(all)
	return all
}

func lateKey(s *seal.Seal) string { return store.LateFolder + "/" + s.Digest().String() + ".txt" }

func testLateLogs(t *testing.T, p *place) {
	ctx, r := t.Context(), p.made(t)
	if got := late(t, r); len(got) != 0 {
		t.Fatalf("a new root keeps %q", got)
	}
	must(t, store.WriteSeal(ctx, r, sealOf(t, 3)))
	x, longer := forked(t, 1, 3), forked(t, 1, 200)
	must(t, store.PutLate(ctx, r, new(seal.Seal)))
	for range 2 { // the second time, it is there
		must(t, store.PutLate(ctx, r, x))
		must(t, store.PutLate(ctx, r, longer))
		if got := late(t, p.open()); !slices.Equal(got, digests(x, longer)) {
			t.Fatalf("it keeps %q, want %q", got, digests(x, longer))
		}
	}
	if b, _ := p.read(lateKey(x)); manifest.Sum(b) != x.Digest() {
		t.Errorf("%s holds other bytes than its name says", lateKey(x))
	}
	if s, err := store.ReadSeal(ctx, p.open()); err != nil || s.Digest() != sealOf(t, 3).Digest() {
		t.Errorf("the root's own seal: %v", err)
	}
}

// What is not whole is passed over, and whole again once it is put again.
func testLateHurt(t *testing.T, p *place) {
	ctx, r := t.Context(), p.made(t)
	x, y := forked(t, 1, 9), forked(t, 2, 9)
	must(t, store.PutLate(ctx, r, x))
	must(t, store.PutLate(ctx, r, y))
	good, _ := p.read(lateKey(x))
	noLog := "these are no lines of a seal\n"
	p.write(store.LateFolder+"/"+manifest.Sum([]byte(noLog)).String()+".txt", []byte(noLog))
	p.write(store.LateFolder+"/notes.txt", []byte("not ours"))
	for name, bad := range map[string][]byte{
		"cut short": good[:len(good)/2], "a line end": []byte("\n"), "longer": append(bytes.Clone(good), '\n'),
		"one digit": []byte(strings.Replace(string(good), "v3", "v8", 1)),
	} {
		p.write(lateKey(x), bad)
		if got := late(t, p.open()); !slices.Equal(got, digests(y)) {
			t.Errorf("%s: it keeps %q", name, got)
		}
		must(t, store.PutLate(ctx, r, x))
		if got := late(t, p.open()); !slices.Equal(got, digests(x, y)) {
			t.Errorf("%s: put again, it keeps %q", name, got)
		}
	}
}

func TestLateDigest(t *testing.T) {
	s := forked(t, 0, 1)
	if d, ok := store.LateDigest(lateKey(s)); !ok || d != s.Digest() {
		t.Errorf("%s is not read", lateKey(s))
	}
	for _, bad := range []string{"", seal.File(0), store.LateFolder, store.LateFolder + "/", store.LateFolder + "/00000.txt",
		lateKey(s) + ".txt", strings.ToUpper(lateKey(s)), strings.TrimSuffix(lateKey(s), ".txt"), "x/" + lateKey(s)} {
		if _, ok := store.LateDigest(bad); ok {
			t.Errorf("%q is read as a late log", bad)
		}
	}
}

// The command that README.txt gives for a seal of another history, as printed there.
func TestReadmeLateSealCheck(t *testing.T) {
	r, dir := driveIn(t)
	must(t, store.WriteSeal(t.Context(), r, sealOf(t, 90)))
	x, z := forked(t, 3, 80), forked(t, 40, 95)
	must(t, store.PutLate(t.Context(), r, x))
	must(t, store.PutLate(t.Context(), r, z))
	readme, err := os.ReadFile(filepath.Join(dir, "README.txt"))
	must(t, err)
	_, command, found := strings.Cut(string(readme), "\n  for f in ")
	if !found {
		t.Fatal("README.txt gives no command for it")
	}
	command, _, _ = strings.Cut(command, "\n")
	for _, n := range []int{1, 4, 80} {
		cmd := exec.Command("sh", "-ec", "for f in "+strings.Replace(command, " N ", fmt.Sprintf(" %d ", n), 1))
		cmd.Dir = filepath.Join(dir, filepath.FromSlash(store.SealFolder))
		out, err := cmd.CombinedOutput()
		must(t, err)
		for _, s := range []*seal.Seal{x, z} {
			if !strings.Contains(string(out), s.DigestOf(n).String()) {
				t.Errorf("%d lines: %s is not in\n%s", n, s.DigestOf(n), out)
			}
		}
	}
}
