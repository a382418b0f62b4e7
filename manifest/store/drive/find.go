package drive

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// Find looks for a copy by its id at the other places where drives are
// mounted, for a drive that came up under another name. hint is where it used
// to be. At each mount point it tries the end of that path (…/line-camp), the
// mount point itself, and each folder directly in it. ErrNotHere when no drive
// has it. A mount that does not answer hinders no other; with one, the search
// for what is nowhere goes on until ctx ends.
func Find(ctx context.Context, copyID, hint string) (string, error) {
	mounts, err := mountPoints()
	if err != nil {
		return "", fmt.Errorf("looking for the copy %s on other drives: %w", copyID, err)
	}
	type answer struct {
		folder string
		err    error
	}
	answers := make(chan answer, len(mounts)) // nobody waits for those that come late
	for _, m := range mounts {
		go func() {
			folder, err := findDrive(copyID, hint, []string{m})
			answers <- answer{folder, err}
		}()
	}
	err = notPluggedIn(copyID)
	for range mounts {
		select {
		case a := <-answers:
			if a.err == nil {
				return a.folder, nil
			}
			err = a.err
		case <-ctx.Done():
			return "", fmt.Errorf("looking for the copy %s on other drives: %w", copyID, ctx.Err())
		}
	}
	return "", err
}

func notPluggedIn(copyID string) error {
	return fault.Say(store.ErrNotHere, "no drive that is plugged in holds the copy %s", copyID)
}

// letters are the roots of the drives in a set of them, the first bit of which is A:
// (Windows' GetLogicalDrives).
func letters(set uint32) (roots []string) {
	for i := range 26 {
		if set&(1<<i) != 0 {
			roots = append(roots, string(rune('A'+i))+`:\`)
		}
	}
	return roots
}

func findDrive(copyID, hint string, mounts []string) (string, error) {
	if copyID == "" {
		return "", errors.New("a drive can only be looked for by its copy id")
	}
	tried := map[string]bool{}
	is := func(folder string) bool {
		if tried[folder] {
			return false
		}
		tried[folder] = true
		d, err := Open(folder, copyID)
		if err != nil {
			return false
		}
		d.Close()
		return true
	}
	for _, m := range mounts {
		for _, tail := range tails(hint) {
			if f := filepath.Join(m, tail); is(f) {
				return f, nil
			}
		}
	}
	for _, m := range mounts {
		inside, err := filepath.Glob(filepath.Join(globEscape(m), "*", filepath.FromSlash(store.IdentityKey)))
		if err != nil {
			continue
		}
		for _, config := range inside {
			if f := filepath.Clean(strings.TrimSuffix(config, filepath.FromSlash(store.IdentityKey))); is(f) {
				return f, nil
			}
		}
	}
	return "", notPluggedIn(copyID)
}

// tails are the ends of a path, the whole first and "" last: a drive used to be
// mounted at one of the folders of the path, and which is not known.
func tails(hint string) []string {
	parts := strings.Split(strings.Trim(filepath.ToSlash(filepath.Clean(hint)), "/"), "/")
	var out []string
	for i := range parts {
		out = append(out, filepath.Join(parts[i:]...))
	}
	return append(out, "")
}

// globEscape keeps a mount point's own name from being read as a pattern.
func globEscape(s string) string {
	if filepath.Separator == '\\' {
		return s // no escaping there; a drive's name is a letter and a colon
	}
	return strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`).Replace(s)
}

// OpenUnidentified opens the folder of a drive without asking which copy it is:
// one whose identity is gone or damaged still holds its photos. It is for
// reading only. A folder that is not there, or is empty, is ErrNotHere.
func OpenUnidentified(folder string) (*Drive, error) {
	d, err := openFolder(folder)
	if err != nil {
		return nil, err
	}
	if err := d.expect(""); errors.Is(err, store.ErrNotHere) {
		d.Close()
		return nil, err
	}
	return d, nil
}
