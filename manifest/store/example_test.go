package store_test

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
)

// A drive gets a root, a site its first version there, and a photo is read back.
func Example() {
	ctx := context.Background()
	dir, err := os.MkdirTemp("", "")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(dir)
	if err := keepOne(ctx, filepath.Join(dir, "line-camp")); err != nil {
		fmt.Println(err)
	}
	// Output:
	// the newest version of windmill--stake-3 is 1
	// v1/content/2026-06-21/plot.jpg: the bytes of a photo
}

func keepOne(ctx context.Context, folder string) error {
	day := time.Date(2026, 7, 2, 2, 30, 0, 0, time.UTC)
	d, err := drive.New(folder)
	if err != nil {
		return err
	}
	defer d.Close()
	var root store.Root = d // a bucket is one too
	if err := root.Init(ctx, store.Identity{ArchiveID: "5b1c6f8e-40fa-4f0c-9a64-7d7c2c1f3b10", Archive: "saltbush-draw", CopyID: "3f6c0d52-8a31-4c1e-9d57-0b6a4f2e7c19", Created: day}); err != nil {
		return err
	}

	photo := []byte("the bytes of a photo")
	draft, err := manifest.New("linecamp:saltbush-draw:windmill--stake-3").Add(manifest.Next{
		Created: day, User: manifest.User{Name: "office"}, State: map[string]manifest.Digest{"2026-06-21/plot.jpg": manifest.Sum(photo)},
		Record: manifest.Record{Site: "Stake 3", Pasture: "Windmill", Paths: map[string]manifest.Entry{
			"2026-06-21/plot.jpg": {Bytes: int64(len(photo)), Modified: day, Kind: manifest.KindPhoto, View: "plot"},
		}},
	})
	if err != nil {
		return err
	}
	content := map[manifest.Digest][]byte{manifest.Sum(photo): photo, manifest.Sum(draft.Record): draft.Record}

	unlock, err := root.Lock(ctx)
	if err != nil {
		return err
	}
	defer unlock()
	build, err := root.Begin(ctx, "windmill--stake-3", 1)
	if err != nil {
		return err
	}
	defer build.Close()
	for path, digest := range draft.New {
		if _, err := build.Put(ctx, path, store.Bytes(content[digest])); err != nil {
			return err
		}
	}
	if err := build.Commit(ctx, draft.Encoded); err != nil {
		return err
	}

	newest, err := store.Head(ctx, root, "windmill--stake-3")
	if err != nil {
		return err
	}
	fmt.Println("the newest version of", newest.Slug(), "is", newest.Head())
	at := newest.Content[manifest.Sum(photo)][0]
	r, _, err := root.Open(ctx, newest.Slug()+"/"+at)
	if err != nil {
		return err
	}
	defer r.Close()
	b, err := io.ReadAll(r)
	fmt.Printf("%s: %s\n", at, b)
	return err
}
