// Package near is for places that a person took for a copy: it tells whether a
// root without an identity holds an archive's sites all the same ([Holds]), and
// finds the copies that lie above and below a place ([Below], [Above]).
package near

import (
	"context"
	"errors"
	"path"

	"linecamp/manifest/store"
)

const (
	mostLooked = 400 // folders that are looked into
	mostNamed  = 5   // copies that are named
)

// Holds reports whether a root holds at least one site. A folder's name alone
// proves nothing: what an object begins with must lie in it.
func Holds(ctx context.Context, r store.Root) (bool, error) {
	objects, err := store.Objects(ctx, r)
	if err != nil {
		return false, err
	}
	for _, o := range objects[:min(len(objects), mostLooked)] {
		for _, key := range []string{"0=ocfl_object_1.1", "v1/inventory.json"} { // OCFL 1.1 section 3.1
			if is(ctx, r, path.Join(o, key)) {
				return true, nil
			}
			if ctx.Err() != nil {
				return false, ctx.Err()
			}
		}
	}
	return false, nil
}

// Below names the folders in r, up to two deep, that are copies.
func Below(ctx context.Context, r store.Root) []string {
	var copies []string
	level, looked := []string{""}, 0
	for range 2 {
		var next []string
		for _, folder := range level {
			names, err := r.Folders(ctx, folder)
			if err != nil {
				continue // what cannot be listed cannot be named
			}
			for _, n := range names {
				if looked++; looked > mostLooked || len(copies) == mostNamed || ctx.Err() != nil {
					return copies
				}
				if at := path.Join(folder, n); is(ctx, r, path.Join(at, store.IdentityKey)) {
					copies = append(copies, at)
				} else {
					next = append(next, at)
				}
			}
		}
		level = next
	}
	return copies
}

// Above finds the first of the places that is a copy, "" if none is. open opens
// one of them.
func Above(ctx context.Context, places []string, open func(string) (store.Root, error)) string {
	for _, p := range places {
		r, err := open(p)
		if err != nil {
			continue
		}
		found := is(ctx, r, store.IdentityKey)
		err = errors.Join(r.Close(), ctx.Err())
		if found && err == nil {
			return p
		}
	}
	return ""
}

func is(ctx context.Context, r store.Root, key string) bool {
	_, err := r.Stat(ctx, key)
	return err == nil
}
