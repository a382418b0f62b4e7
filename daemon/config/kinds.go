package config

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"linecamp/manifest/store"
)

// Kinds of copies.
const (
	KindDrive = "drive"
	KindS3    = "s3"
)

// Kinds are the kinds of copies there are, each told in a file of its own beside this
// one. A third kind is a package beside manifest/store/drive and manifest/store/s3,
// and such a file: whoever treats copies differently asks what they Can.
var Kinds = map[string]Kind{KindDrive: driveKind, KindS3: s3Kind}

// Kind is what the settings know of one kind of copy.
type Kind struct {
	Can    store.Abilities
	Called string // in a sentence: "drive", "bucket"

	// At is the copy at a place as people name one, a folder or an address; it tells
	// false for a place of another kind.
	At func(place string) (Copy, bool)
	// Open opens a copy where its settings say it is. With an id it is that copy or an
	// error; without one, whatever can be read there, its identity damaged or not.
	Open func(ctx context.Context, c Copy) (store.Root, error)
	// Place opens the place of a copy that is to be, and may complete its settings. Of a
	// folder it makes the last part.
	Place func(ctx context.Context, c *Copy) (store.Root, error)
	// Try learns whether the place can be written to and what has to be known of it, and
	// completes the settings. The notes are for a person. The root is the one to go on
	// with, in place of the one given; isAlone is a person's word that one machine writes.
	Try func(ctx context.Context, r store.Root, c *Copy, isAlone bool) (root store.Root, notes []string, err error)

	// KeyID tells the id of the key that a copy is used with; nil for a kind that has no keys.
	KeyID func(c Copy) (string, error)

	keys  []string // its own keys in the settings; a kind with none has an address, its url
	read  func(f *file, t *table, c *Copy)
	write func(w *writer, c Copy)
}

// Can tells what a copy of this kind can do.
func (c Copy) Can() store.Abilities { return Kinds[c.Kind].Can }

// KeyID is the id of the key that the copy is used with, "" where it cannot be read;
// has is false for a kind that has no keys.
func (c Copy) KeyID() (id string, has bool) {
	k := Kinds[c.Kind]
	if k.KeyID == nil {
		return "", false
	}
	id, err := k.KeyID(c)
	if err != nil {
		return "", true
	}
	return id, true
}

// KeyTried is what a trial found out of a copy's key.
type KeyTried struct {
	Deletes, DeletesKnown   bool // it may delete for good what is there
	Versions, VersionsKnown bool // what is overwritten is kept
}

// Open opens the copy where the settings say it is; see [Kind].
func (c Copy) Open(ctx context.Context) (store.Root, error) {
	k, is := Kinds[c.Kind]
	if !is {
		return nil, fmt.Errorf("there is no kind of copy %q", c.Kind)
	}
	return k.Open(ctx, c)
}

// CopyAt is what the settings would say of a copy at a place: a folder, or an address.
// An address that no other kind takes is a bucket's.
func CopyAt(place string) Copy {
	kind := KindDrive
	if isAddress(place) {
		kind = KindS3
	}
	for name, k := range Kinds {
		if _, is := k.At(place); is && name != KindDrive && name != KindS3 {
			kind = name
		}
	}
	c, _ := Kinds[kind].At(place)
	c.Name, c.Kind = place, kind
	return c
}

func kindNames(between string) string {
	var all []string
	for _, name := range slices.Sorted(maps.Keys(Kinds)) {
		all = append(all, fmt.Sprintf("%q", name))
	}
	return strings.Join(all, between)
}

// keysOfOthers are the keys that only other kinds have, with what to say of them.
func keysOfOthers(kind string) map[string]string {
	all := map[string]string{}
	for name, k := range Kinds {
		for _, key := range k.keys {
			if !slices.Contains(Kinds[kind].keys, key) {
				all[key] = fmt.Sprintf("is for a copy of kind %q", name)
			}
		}
	}
	return all
}
