package store_test

import (
	"bytes"
	"testing"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

func sealLine(n int) seal.Line {
	return seal.Line{N: n, At: testTime, What: "version", Object: manifest.ObjectID("saltbush-draw", object),
		Version: n, Inventory: manifest.Sum([]byte{byte(n), byte(n >> 8)})}
}

func sealOf(t *testing.T, lines int) *seal.Seal {
	t.Helper()
	s := new(seal.Seal)
	for n := 1; n <= lines; n++ {
		must(t, s.Append(sealLine(n)))
	}
	return s
}

func testSeal(t *testing.T, p *place) {
	ctx, r := t.Context(), p.made(t)
	for _, n := range []int{0, 1, 2, 2, 4095, 4096, 4097, 8200} {
		want := sealOf(t, n)
		must(t, store.WriteSeal(ctx, r, want))
		got, err := store.ReadSeal(ctx, p.open())
		must(t, err)
		if got.Len() != n || got.Digest() != want.Digest() {
			t.Fatalf("read %d lines, want %d", got.Len(), n)
		}
	}
	wantErr(t, store.WriteSeal(ctx, r, sealOf(t, 4000)), store.ErrConflict)
	wantErr(t, store.WriteSeal(ctx, r, sealOf(t, 8199)), store.ErrConflict)
	other := sealOf(t, 8199)
	l := sealLine(8200)
	l.Version = 7
	must(t, other.Append(l))
	wantErr(t, store.WriteSeal(ctx, r, other), store.ErrConflict)
	if got, err := store.ReadSeal(ctx, r); err != nil || got.Digest() != sealOf(t, 8200).Digest() {
		t.Errorf("after refused writes: %v", err)
	}
}

func testSealTornTail(t *testing.T, p *place) {
	ctx, r := t.Context(), p.made(t)
	three := sealOf(t, 3)
	must(t, store.WriteSeal(ctx, r, three))
	key := seal.File(0)
	whole, _ := p.read(key)
	four := sealOf(t, 4).File(0)
	for cut := len(whole) + 1; cut < len(four); cut += 7 {
		p.write(key, four[:cut])
		got, err := store.ReadSeal(ctx, r)
		must(t, err)
		if got.Digest() != three.Digest() {
			t.Fatalf("cut at %d: read %d lines", cut, got.Len())
		}
		must(t, store.WriteSeal(ctx, r, sealOf(t, 4)))
		if b, _ := p.read(key); !bytes.Equal(b, four) {
			t.Fatalf("cut at %d: not repaired", cut)
		}
	}
}

func testAuthorFile(t *testing.T, p *place) {
	ctx, r := t.Context(), p.made(t)
	_, _, err := store.ReadAuthor(ctx, r)
	wantErr(t, err, errAbsent)
	a := store.Author{Archive: testID.ArchiveID, Author: testAuthor, Machine: "office computer", Epoch: 1}
	must(t, store.WriteAuthor(ctx, r, a, nil))
	b := a
	b.Author, b.Machine, b.Epoch = otherCopy, "laptop", 2
	wantErr(t, store.WriteAuthor(ctx, r, b, nil), store.ErrConflict)
	got, was, err := store.ReadAuthor(ctx, r)
	must(t, err)
	if got != a {
		t.Errorf("read %+v", got)
	}
	must(t, store.WriteAuthor(ctx, r, b, &was))
	wantErr(t, store.WriteAuthor(ctx, r, a, &was), store.ErrConflict)
	if got, _, err := store.ReadAuthor(ctx, r); err != nil || got != b {
		t.Errorf("read %+v, %v", got, err)
	}
	p.write(store.AuthorKey, []byte(`{"archive": "", "extra": 1}`))
	if _, _, err := store.ReadAuthor(ctx, r); err == nil {
		t.Error("a damaged author.json was accepted")
	}
}
