package ocfl

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
)

// fill makes a copy as setup and three rounds do: two sites, three versions
// each, with an author and a seal.
func fill(t *testing.T, r store.Root) {
	ctx := t.Context()
	must(t, r.Init(ctx, store.Identity{
		ArchiveID: "6f0c1f3e-9d0b-4c59-8a3f-0b6e3b1c7a11", Archive: "saltbush-draw",
		CopyID: "b81e62a0-6a4f-4b8c-b6c9-5b3a3b0f7d22", Created: created,
	}))
	unlock, err := r.Lock(ctx)
	must(t, err)
	defer unlock()
	_, err = store.WriteAuthor(ctx, r, store.Author{Archive: "6f0c1f3e-9d0b-4c59-8a3f-0b6e3b1c7a11", Author: author, Machine: "office", Epoch: 1}, nil)
	must(t, err)
	log, err := seal.Decode(nil)
	must(t, err)
	for _, slug := range []string{"windmill--stake-3", "windmill--stake-4"} {
		id := manifest.ObjectID("saltbush-draw", slug)
		inv := manifest.New(id)
		files := map[string]string{"2019-06-21/notes.txt": "grass is short", "2019-06-21/línea ☼.jpg": "landscape"}
		for n := 1; n <= 3; n++ {
			files[fmt.Sprintf("20%d-06-20/plot.jpg", 18+n)] = fmt.Sprintf("plot of %s in year %d", slug, n)
			if n == 3 {
				delete(files, "2019-06-21/notes.txt")
			}
			inv = commit(t, ctx, r, slug, inv, files)
			must(t, log.Append(seal.Line{At: created, What: "version", Object: id, Version: n, Inventory: manifest.Sum(inv.Encode())}))
		}
	}
	must(t, store.WriteSeal(ctx, r, log))
}

const author = "2c4b7d10-1f0a-4c8e-9f52-3f1f6c0b8e44"

func commit(t *testing.T, ctx context.Context, r store.Root, slug string, inv *manifest.Inventory, files map[string]string) *manifest.Inventory {
	next := manifest.Next{
		Created: created.Add(time.Duration(inv.Head()) * time.Hour), Message: "round",
		User:   manifest.User{Name: "office", Address: "urn:uuid:" + author},
		State:  map[string]manifest.Digest{},
		Record: manifest.Record{Site: "Stake", Pasture: "Windmill", Paths: map[string]manifest.Entry{}},
	}
	bytes := map[manifest.Digest][]byte{}
	for p, text := range files {
		d := manifest.Sum([]byte(text))
		bytes[d] = []byte(text)
		next.State[p] = d
		next.Record.Paths[p] = manifest.Entry{Bytes: int64(len(text)), Modified: created, Kind: manifest.KindOther}
	}
	draft, err := inv.Add(next)
	must(t, err)
	bytes[manifest.Sum(draft.Record)] = draft.Record
	b, err := r.Begin(ctx, slug, draft.Inventory.Head())
	must(t, err)
	defer b.Close()
	for p, d := range draft.New {
		_, err := b.Put(ctx, p, store.Bytes(bytes[d]))
		must(t, err)
	}
	must(t, b.Commit(ctx, draft.Encoded))
	return draft.Inventory
}

// What is expected of our own copies, and nothing else: sha256 where sha512 is
// recommended, and extensions of our own that are not registered.
var ownWarnings = []string{
	"W016 extensions/linecamp-root",
	"W016 extensions/linecamp-seal",
	"W004 windmill--stake-3/inventory.json",
	"W004 windmill--stake-4/inventory.json",
}

func all(r Report) (errors, warnings []string) {
	list := func(folder string, findings []Finding) (out []string) {
		for _, f := range findings {
			out = append(out, f.Code+" "+join(folder, f.Path))
		}
		return out
	}
	errors, warnings = list("", r.Errors), list("", r.Warnings)
	for _, o := range r.Objects {
		errors = append(errors, list(o.Path, o.Errors)...)
		warnings = append(warnings, list(o.Path, o.Warnings)...)
	}
	return errors, warnings
}

func wantOwn(t *testing.T, f Files) {
	t.Helper()
	r, err := Validate(t.Context(), f, Options{})
	must(t, err)
	errors, warnings := all(r)
	if len(errors) > 0 || !slices.Equal(warnings, ownWarnings) || len(r.Objects) != 2 || !r.Valid {
		t.Fatalf("got %q and %q\n%s", errors, warnings, shown(r))
	}
	if id := r.Objects[0].ID; id != "linecamp:saltbush-draw:windmill--stake-3" {
		t.Errorf("the id is %q", id)
	}
}

func TestOwnDrive(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "copy")
	d, err := drive.New(dir)
	must(t, err)
	defer d.Close()
	fill(t, d)

	l, err := OpenFolder(dir)
	must(t, err)
	defer l.Close()
	wantOwn(t, l)
	stored, err := Stored(t.Context(), d)
	must(t, err)
	wantOwn(t, stored)

	// One object by itself.
	single, err := OpenFolder(filepath.Join(dir, "windmill--stake-3"))
	must(t, err)
	defer single.Close()
	r, err := Validate(t.Context(), single, Options{})
	must(t, err)
	if codes(r) != "W004" || !r.Valid || r.Objects[0].Path != "." {
		t.Error(shown(r))
	}

	// One bit of rot, one file nobody wrote, one lost: seen both ways.
	plot := filepath.Join(dir, "windmill--stake-4/v1/content/2019-06-20/plot.jpg")
	b, err := os.ReadFile(plot)
	must(t, err)
	b[0] ^= 1
	must(t, os.Chmod(plot, 0o600))
	must(t, os.WriteFile(plot, b, 0o600))
	must(t, os.WriteFile(filepath.Join(dir, "windmill--stake-3/v2/content/stray"), nil, 0o600))
	must(t, os.RemoveAll(filepath.Join(dir, "windmill--stake-3/v3/content/2021-06-20"))) // the folder too: an empty one is E024
	want := []string{
		"E023 windmill--stake-3/v2/content/stray",
		"E092 windmill--stake-3/v3/content/2021-06-20/plot.jpg",
		"E092 windmill--stake-4/v1/content/2019-06-20/plot.jpg",
	}
	stored, err = Stored(t.Context(), d)
	must(t, err)
	for _, f := range []Files{l, stored} {
		r, err := Validate(t.Context(), f, Options{})
		must(t, err)
		if errors, _ := all(r); !slices.Equal(errors, want) {
			t.Errorf("got %q, want %q", errors, want)
		}
	}
}

func TestOwnBucket(t *testing.T) {
	srv := s3test.Fake(t)
	url, err := srv.Bucket(t.Context(), "monitoring")
	must(t, err)
	s, err := s3.Open(t.Context(), s3.Options{URL: url + "/saltbush draw", Region: srv.Region, Access: srv.Access, Secret: srv.Secret, Fence: true})
	must(t, err)
	defer s.Close()
	fill(t, s)
	f, err := Stored(t.Context(), s)
	must(t, err)
	wantOwn(t, f)
}

// The listing of a stored root gives back each folder as a real one would.
func TestStoredFolders(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "copy")
	d, err := drive.New(dir)
	must(t, err)
	defer d.Close()
	fill(t, d)
	l, err := OpenFolder(dir)
	must(t, err)
	defer l.Close()
	s, err := Stored(t.Context(), d)
	must(t, err)
	n := 0
	var same func(folder string)
	same = func(folder string) {
		a, err := l.List(t.Context(), folder)
		must(t, err)
		b, err := s.List(t.Context(), folder)
		must(t, err)
		byName := func(x, y Entry) int { return cmp.Compare(x.Name, y.Name) }
		slices.SortFunc(a, byName)
		b = slices.SortedFunc(slices.Values(b), byName)
		if !slices.Equal(a, b) {
			t.Errorf("%s: %v and %v", folder, a, b)
		}
		for _, e := range a {
			n++
			if e.Kind == Folder {
				same(join(folder, e.Name))
			}
		}
	}
	same("")
	if n < 60 {
		t.Errorf("only %d names were compared", n)
	}
}
