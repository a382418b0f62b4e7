package notice

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"linecamp/manifest/wholefile"
)

// file keeps the book in the state folder.
const file = "notices.json"

// Load reads the book of a state folder. Where there is none, or it is damaged, it is
// a new one: then what is so is told once more.
func Load(dir string) (*Book, error) {
	b, err := os.ReadFile(filepath.Join(dir, file))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("what was told cannot be read: %w", err)
	}
	book := &Book{}
	if err == nil && json.Unmarshal(b, book) != nil {
		book = &Book{}
	}
	return book, nil
}

// Save keeps it, durably.
func (b *Book) Save(dir string) error {
	text, err := json.Marshal(b)
	if err != nil {
		return err
	}
	return wholefile.Replace(filepath.Join(dir, file), 0o600, text)
}

// Unsent says since when notices of a state folder cannot be sent, and why; "" where
// they can.
func Unsent(dir string) (since time.Time, why string) {
	b, err := Load(dir)
	if err != nil {
		return time.Time{}, ""
	}
	for _, w := range b.Ways {
		if w != nil && w.Failing != nil && (why == "" || w.Failing.Since.Before(since)) {
			since, why = w.Failing.Since, w.Failing.Why
		}
	}
	return since, why
}
