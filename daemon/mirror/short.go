package mirror

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"

	"linecamp/daemon/ledger"
	"linecamp/manifest"
)

// Short is a file that a copy committed a version without. It is remembered, so
// that the copy is never called whole while it lacks the file.
type Short struct {
	Object   string `json:"object"`
	Content  string `json:"content"`
	SHA256   string `json:"sha256"`
	Path     string `json:"path"`      // as people know it
	TooLarge bool   `json:"too_large"` // for the copy's file system; else nobody has its bytes
	FAT      bool   `json:"fat,omitempty"`
}

func shortKey(copyID string) string { return "short of: " + copyID }

// ShortOf lists what a copy is short of, less what was brought to it since, by a
// mend or a later version.
func ShortOf(l *ledger.Ledger, copyID string) ([]Short, error) {
	text, ok, err := l.Value(shortKey(copyID))
	if err != nil || !ok {
		return nil, err
	}
	var all, left []Short
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

// ShortText says what a copy is short of, "" where it is short of nothing.
func ShortText(all []Short) string {
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
		parts = append(parts, fmt.Sprintf("%s, too large for %s", plural(large, "file", "files"), system))
	}
	if lost > 0 {
		parts = append(parts, fmt.Sprintf("%s whose bytes no copy has", plural(lost, "file", "files")))
	}
	if parts == nil {
		return ""
	}
	return "short of " + strings.Join(parts, ", and of ")
}

// shorts are what one copy is short of during a round.
type shorts struct {
	mu  sync.Mutex
	all []Short
	err error // the ledger could not be read or written
}

// loadShort reads what the copy was short of before this round.
func (c *copyRun) loadShort() {
	c.short.mu.Lock()
	defer c.short.mu.Unlock()
	c.short.all, c.short.err = ShortOf(c.r.Ledger, c.ID)
}

// fallsShort notes that versions were committed there without some files.
func (c *copyRun) fallsShort(added ...Short) error {
	if len(added) == 0 {
		return nil
	}
	c.short.mu.Lock()
	defer c.short.mu.Unlock()
	for _, s := range added {
		s.FAT = s.TooLarge && c.onFAT()
		c.short.all = slices.DeleteFunc(c.short.all, func(x Short) bool { return x.Object == s.Object && x.Content == s.Content })
		c.short.all = append(c.short.all, s)
	}
	b, err := json.Marshal(c.short.all)
	if err != nil {
		return err
	}
	return c.r.Ledger.SetValue(shortKey(c.ID), string(b))
}

// onFAT reports whether the copy is a drive whose files end below 4 GiB.
func (c *copyRun) onFAT() bool {
	d, ok := c.Root.(interface{ Largest() int64 })
	return ok && d.Largest() == 1<<32-1
}

// tooLargeThere are the people's paths that the copy's file system cannot hold.
func (c *copyRun) tooLargeThere() (paths []string, text string) {
	c.short.mu.Lock()
	defer c.short.mu.Unlock()
	large := slices.DeleteFunc(slices.Clone(c.short.all), func(s Short) bool { return !s.TooLarge })
	for _, s := range large {
		paths = append(paths, s.Path)
	}
	slices.Sort(paths)
	return paths, ShortText(large)
}

func shortAs(object, content string, d manifest.Digest, path string, large bool) Short {
	return Short{Object: object, Content: content, SHA256: d.String(), Path: path, TooLarge: large}
}
