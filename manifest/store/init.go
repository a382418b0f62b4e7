package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"strings"

	"linecamp/manifest/store/fault"
	"linecamp/manifest/within"
)

// rootFiles are the files of a new root in the order they are written. The
// identity is last: a root without it is unfinished, is never written to by a
// round, and is completed by running setup again.
func rootFiles(id Identity) []KeyBytes {
	return []KeyBytes{
		{ReadmeKey, []byte(readme(id))},
		{RootNamaste, NamasteContent(RootNamaste)},
		{LayoutKey, []byte(layoutJSON)},
		{ExtensionKey, []byte(extensionJSON)},
		{FormatKey, []byte(formatText())},
		{IdentityKey, encodeIdentity(id)},
	}
}

// InitRoot is Root.Init for every root.
func InitRoot(ctx context.Context, r Root, id Identity) error {
	if err := id.check(); err != nil {
		return fmt.Errorf("the identity of a new copy: %w", err)
	}
	if old, err := ReadIdentity(ctx, r); err == nil {
		return fault.Say(ErrNotEmpty, "%s already is a copy (id %s, archive %q); use a new folder, or add this one to the settings by its id", r.Name(), old.CopyID, old.Archive)
	} else if _, serr := r.Stat(ctx, IdentityKey); serr == nil {
		return err // there, but damaged: never overwritten
	} else if !errors.Is(serr, fs.ErrNotExist) {
		return serr
	}
	if err := checkEmpty(ctx, r, id); err != nil {
		return err
	}
	for _, f := range rootFiles(id) {
		_, err := r.Create(ctx, f.Key, Bytes(f.Bytes))
		if errors.Is(err, ErrConflict) && f.Key != IdentityKey {
			// Left by an unfinished setup: checkEmpty has seen that nothing else is there.
			var was Info
			if _, was, err = ReadSmall(ctx, r, f.Key, MaxSmall); err == nil {
				_, err = r.Replace(ctx, f.Key, Bytes(f.Bytes), &was)
			}
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// checkEmpty refuses a place that holds anything but the leftovers of an
// unfinished setup.
func checkEmpty(ctx context.Context, r Root, id Identity) error {
	ours := map[string]bool{ProbeKey: true}
	for _, f := range rootFiles(id) {
		ours[f.Key] = true
	}
	for info, err := range r.List(ctx, "") {
		if err != nil {
			return err
		}
		if ours[info.Key] || MadeBySystem(info.Key) || within.Below(info.Key, StagingFolder) {
			continue
		}
		return fault.Say(ErrNotEmpty, "%s is not empty: %s is there. A copy needs a place of its own, for example a new folder inside", r.Name(), Clip(info.Key))
	}
	return nil
}

// MadeBySystem reports whether a key at the top of a drive is made by operating
// systems on their own, so that a new drive counts as empty and an unplugged
// one's folder as nothing.
func MadeBySystem(key string) bool {
	top, _, _ := strings.Cut(key, "/")
	switch top {
	case "lost+found", "System Volume Information", "$RECYCLE.BIN", "RECYCLER",
		".Spotlight-V100", ".fseventsd", ".Trashes", ".TemporaryItems", ".DS_Store", "desktop.ini", "Thumbs.db":
		return true
	}
	ok, _ := path.Match(".Trash-*", top)
	return ok
}
