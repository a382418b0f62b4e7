// Package short remembers which files a copy committed a version without, so that
// the copy is never called whole while it lacks one. Call [Of] for what a copy is
// short of now, and [Text] to say it; a round keeps a [List].
package short

import (
	"encoding/json"
	"fmt"
	"strings"

	"linecamp/daemon/ledger"
	"linecamp/manifest"
	"linecamp/manifest/words"
)

// File is one that a copy committed a version without.
type File struct {
	Object   string `json:"object"`
	Content  string `json:"content"`
	SHA256   string `json:"sha256"`
	Path     string `json:"path"`      // as people know it
	TooLarge bool   `json:"too_large"` // for the copy's file system; else nobody has its bytes
	FAT      bool   `json:"fat,omitempty"`
}

func key(copyID string) string { return "short of: " + copyID }

// Of lists what a copy is short of, less what was brought to it since, by a
// mend or a later version.
func Of(l *ledger.Ledger, copyID string) ([]File, error) {
	text, ok, err := l.Value(key(copyID))
	if err != nil || !ok {
		return nil, err
	}
	var all, left []File
	if json.Unmarshal([]byte(text), &all) != nil {
		return nil, nil // damaged: a check finds it again
	}
	for _, s := range all {
		held, err := l.Held(copyID, s.Object)
		if err != nil {
			return nil, err
		}
		if h, ok := held[s.Content]; !ok || h.SHA256.String() != s.SHA256 {
			left = append(left, s)
		}
	}
	return left, nil
}

// Text says what a copy is short of, "" where it is short of nothing.
func Text(all []File) string {
	large, fat, lost := 0, true, 0
	for _, s := range all {
		if s.TooLarge {
			large++
			fat = fat && s.FAT
		} else {
			lost++
		}
	}
	var parts []string
	if large > 0 {
		system := "its file system"
		if fat {
			system = "FAT"
		}
		parts = append(parts, fmt.Sprintf("%s, too large for %s", words.Count(large, "file", "files"), system))
	}
	if lost > 0 {
		parts = append(parts, fmt.Sprintf("%s whose bytes no copy has", words.Count(lost, "file", "files")))
	}
	if parts == nil {
		return ""
	}
	return "short of " + strings.Join(parts, ", and of ")
}

// As is content of an object that a copy goes without.
func As(object, content string, d manifest.Digest, path string, large bool) File {
	return File{Object: object, Content: content, SHA256: d.String(), Path: path, TooLarge: large}
}

// note remembers all that a copy is short of, in the place of what was noted.
func note(l *ledger.Ledger, copyID string, all []File) error {
	b, err := json.Marshal(all)
	if err != nil {
		return err
	}
	return l.SetValue(key(copyID), string(b))
}
