package store_test

import (
	"errors"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"linecamp/manifest"
	"linecamp/manifest/store"
)

func testVersions(t *testing.T, p *place) {
	ctx, r, s := t.Context(), p.made(t), newSite()
	_, err := store.Head(ctx, r, object)
	wantErr(t, err, store.ErrNoObject)
	s.store(t, r, s.next(t, nil, map[string]string{"2019-06-21/plot.jpg": "plot 19", "2019-06-21/landscape.jpg": "sky 19"}))
	s.intact(t, p.open())
	files := map[string]string{"2019-06-21/plot.jpg": "plot 19", "2020-06-19/plot.jpg": "plot 20", "2020-06-19/notes.txt": ""}
	s.store(t, r, s.next(t, nil, files))
	s.intact(t, p.open())
	delete(files, "2019-06-21/plot.jpg") // nothing new but the record
	s.store(t, r, s.next(t, nil, files))
	s.intact(t, p.open())
	names, err := store.Objects(ctx, r)
	must(t, err)
	if !slices.Equal(names, []string{object}) {
		t.Errorf("objects %q", names)
	}
	for _, n := range []int{0, 1, 3, 5} {
		if _, err := r.Begin(ctx, object, n); !errors.Is(err, store.ErrConflict) {
			t.Errorf("Begin of version %d after 3: %v", n, err)
		}
	}
	for _, k := range keys(t, r, "extensions") {
		if strings.Contains(k, "staging") || strings.Contains(k, "quarantine") {
			t.Errorf("%s is left over", k)
		}
	}
}

func testWrongBytes(t *testing.T, p *place) {
	ctx, r, s := t.Context(), p.made(t), newSite()
	draft := s.next(t, nil, map[string]string{"2019-06-21/plot.jpg": "plot 19"})
	b, err := r.Begin(ctx, object, 1)
	must(t, err)
	const key = "v1/content/2019-06-21/plot.jpg"
	good := store.Bytes([]byte("plot 19"))
	for _, rotten := range []string{"plot 18", "plot 1", "plot 19 and more", ""} {
		c := good
		c.Open = store.Bytes([]byte(rotten)).Open
		if rotten == "plot 19 and more" {
			c.Size = int64(len(rotten))
		}
		_, err := b.Put(ctx, key, c)
		wantErr(t, err, store.ErrDigest)
	}
	if got := keys(t, r, object); len(got) != 0 {
		t.Errorf("left of wrong bytes: %q", got)
	}
	broken := good
	broken.Open = failingOpen
	_, err = b.Put(ctx, key, broken)
	wantErr(t, err, errSource)
	for _, bad := range []string{"v2/content/x", "v1/x", "v1/content", "v1/content/../../x", "x"} {
		_, err = b.Put(ctx, bad, good)
		wantErr(t, err, store.ErrBadKey)
	}
	must(t, b.Close())
	s.store(t, r, draft)
	s.intact(t, r)
}

func testResume(t *testing.T, p *place) {
	ctx, r, s := t.Context(), p.made(t), newSite()
	s.store(t, r, s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18"}))
	files := map[string]string{"2019/plot.jpg": "plot 19", "2019/landscape.jpg": "sky 19", "2018/plot.jpg": "plot 18"}
	draft := s.next(t, nil, files)
	b, err := r.Begin(ctx, object, 2)
	must(t, err)
	stored := []string{"v2/content/2019/plot.jpg", "v2/content/2019/landscape.jpg"}
	for _, k := range stored {
		_, err := b.Put(ctx, k, store.Bytes(s.content[draft.New[k]]))
		must(t, err)
	}
	must(t, b.Close())

	r = p.open() // another process, which knows nothing
	if got, err := store.Head(ctx, r, object); err != nil || got.Head() != 1 {
		t.Fatalf("a version being built shows: %v, %v", got, err)
	}
	b, err = r.Begin(ctx, object, 2)
	must(t, err)
	if !r.Can().Staged {
		for _, k := range stored {
			if b.Found()[k].SHA256 != draft.New[k] {
				t.Errorf("found %v for %s", b.Found()[k], k)
			}
		}
	}
	draft = s.next(t, b.Found(), files)
	var opens atomic.Int64
	for _, k := range stored {
		d := manifest.Sum([]byte(files[strings.TrimPrefix(k, "v2/content/")]))
		_, err := b.Put(ctx, k, counted(s.content[d], &opens))
		must(t, err)
	}
	if opens.Load() != 0 {
		t.Errorf("%d of 2 files that were there were sent again", opens.Load())
	}
	for k, d := range draft.New {
		_, err := b.Put(ctx, k, store.Bytes(s.content[d]))
		must(t, err)
	}
	must(t, b.Commit(ctx, draft.Encoded))
	s.inv = draft.Inventory
	s.intact(t, r)
}

func testRootPair(t *testing.T, p *place) {
	ctx, r, s := t.Context(), p.made(t), newSite()
	s.store(t, r, s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18"}))
	old, _ := p.read(object + "/inventory.json")
	oldSide, _ := p.read(object + "/inventory.json.sha256")
	s.store(t, r, s.next(t, nil, map[string]string{"2019/plot.jpg": "plot 19"}))
	inv, side := object+"/inventory.json", object+"/inventory.json.sha256"
	for name, breakIt := range map[string]func(){
		"stale":       func() { p.write(inv, old); p.write(side, oldSide) },
		"half":        func() { p.write(inv, old) },
		"torn":        func() { p.write(inv, old[:len(old)/2]) },
		"gone":        func() { p.remove(inv); p.remove(side) },
		"no sidecar":  func() { p.remove(side) },
		"no namaste":  func() { p.remove(object + "/0=ocfl_object_1.1") },
		"not altered": func() {},
	} {
		breakIt()
		got, err := store.Head(ctx, r, object)
		must(t, err)
		if got.Head() != 2 {
			t.Errorf("%s: head is %d", name, got.Head())
		}
		changed, err := store.Settle(ctx, r, object)
		must(t, err)
		if changed != (name != "not altered") {
			t.Errorf("%s: changed is %v", name, changed)
		}
		s.intact(t, r)
	}
}

func testUncommitted(t *testing.T, p *place) {
	ctx, r, s := t.Context(), p.made(t), newSite()
	s.store(t, r, s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18"}))
	files := map[string]string{"2018/plot.jpg": "plot 18", "2019/plot.jpg": "plot 19"}
	draft := s.next(t, nil, files)
	// All of version 2 but its sidecar: whatever made it, it is not committed.
	for k, d := range draft.New {
		p.write(object+"/"+k, s.content[d])
	}
	p.write(object+"/v2/inventory.json", []byte(`{"not": "ours"}`))
	got, err := store.Head(ctx, r, object)
	must(t, err)
	if got.Head() != 1 {
		t.Fatalf("head is %d", got.Head())
	}
	unlock, err := r.Lock(ctx)
	must(t, err)
	b, err := r.Begin(ctx, object, 2)
	must(t, err)
	draft = s.next(t, b.Found(), files)
	for k, d := range draft.New {
		_, err := b.Put(ctx, k, store.Bytes(s.content[d]))
		must(t, err)
	}
	must(t, b.Commit(ctx, draft.Encoded))
	unlock()
	s.inv = draft.Inventory
	s.intact(t, r)
}

func testNobodyHas(t *testing.T, p *place) {
	ctx, r, s := t.Context(), p.made(t), newSite()
	draft := s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18", "2018/sky.jpg": "sky 18"})
	const lost = "v1/content/2018/sky.jpg"
	s.store(t, r, draft, lost)
	s.intact(t, r, lost)
	must(t, r.Mend(ctx, object+"/"+lost, store.Bytes([]byte("sky 18")), t.TempDir()))
	s.intact(t, r)
}
