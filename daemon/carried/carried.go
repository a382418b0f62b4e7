// Package carried is what each copy holds beside the photos for the day on which the
// computer is lost: the settings, the list of what was left behind, and on drives the
// program. Begin with [PutList] and [PutSettings], which a round calls for each copy; [ReadSettings] and
// [ReadList] are for the new machine.
//
//	extensions/linecamp-settings/00001-DIGEST8.toml   one file per change, never replaced
//	extensions/linecamp-left-behind/list.json         replaced whole
//	extensions/linecamp-program/                      drives only: the program, SHA256SUMS
//
// No photo needs any of it to be read: damaged or absent, it costs knowledge only. So a
// fault in writing it never fails a copy, and is told as a note.
//
// Whoever can write to a copy can write these files. What is read from them is therefore
// bounded, checked value by value, shown to a person, and never run; see [Settings].
package carried

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/store"
)

// Where the files are, relative to the root.
const (
	SettingsFolder = "extensions/linecamp-settings"
	ListKey        = "extensions/linecamp-left-behind/list.json"
	ProgramFolder  = "extensions/linecamp-program"
)

// Notes is the part of the ledger that keeps single values.
type Notes interface {
	Value(key string) (string, bool, error)
	SetValue(key, value string) error
}

// Copy is one copy that is written to.
type Copy struct {
	ID   string
	Root store.Root
}

// noted is what this computer remembers of a file it put on a copy, so that a round
// with nothing new sends no request.
type noted struct {
	Says string    `json:"says"`           // a digest of what it says
	At   time.Time `json:"at"`             // when it was written
	ETag string    `json:"etag,omitempty"` // what a bucket called it
	Size int64     `json:"size,omitempty"`
	Key  string    `json:"key,omitempty"` // where its name is not always the same
}

// stands reports whether what was noted can be relied on: on a drive, where a look costs
// nothing, only while a file of that size is there.
func stands(ctx context.Context, r store.Root, key string, was noted) bool {
	if !r.Can().Local {
		return true
	}
	info, err := r.Stat(ctx, key)
	return err == nil && info.Size == was.Size
}

func recall(n Notes, key string) (was noted) {
	text, ok, err := n.Value(key)
	if err != nil || !ok || json.Unmarshal([]byte(text), &was) != nil {
		return noted{} // unknown: it is looked at
	}
	return was
}

func remember(n Notes, key string, is noted) error {
	b, err := json.Marshal(is)
	if err != nil {
		return err
	}
	return n.SetValue(key, string(b))
}

// replace puts b whole under a key, whatever was there. etag is what a bucket called it
// when this computer last wrote it, "" for not known.
func replace(ctx context.Context, r store.Root, key string, c store.Content, etag string) (store.Info, error) {
	if r.Can().Tagged && etag != "" {
		info, err := r.Replace(ctx, key, c, &store.Info{Key: key, ETag: etag})
		if !errors.Is(err, store.ErrConflict) {
			return info, err
		}
	}
	var was *store.Info
	there, err := r.Stat(ctx, key)
	switch {
	case err == nil:
		was = &there
	case !errors.Is(err, fs.ErrNotExist):
		return store.Info{}, err
	}
	return r.Replace(ctx, key, c, was)
}

// digestOf is what noted.Says holds of b.
func digestOf(b []byte) string { return manifest.Sum(b).String() }

func trouble(what string, err error) error { return fmt.Errorf("%s: %w", what, err) }
