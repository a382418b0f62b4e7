// Package claims remembers which places an archive's settings named when its state was
// last opened: [Note] writes them into the state folder, and [Of] reads them. Where the
// settings of two archives reach for one place, the one that was there before keeps it.
package claims

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"

	"linecamp/manifest/wholefile"
)

const file = "places.json"

// Claims are the places, each as the settings' rules write it, and the settings' file.
type Claims struct {
	Settings string   `json:"settings"`
	Places   []string `json:"places"`
}

// Of reads those of a state folder; none where they cannot be read.
func Of(state string) (c Claims) {
	b, err := os.ReadFile(filepath.Join(state, file))
	if err != nil || json.Unmarshal(b, &c) != nil {
		return Claims{}
	}
	return c
}

// Has reports whether settings named a place.
func (c Claims) Has(settings, place string) bool {
	return c.Settings == settings && slices.Contains(c.Places, place)
}

// Note writes them into the state folder, where they are others than before.
func Note(state string, c Claims) error {
	if c.Settings == "" {
		return nil
	}
	if was := Of(state); was.Settings == c.Settings && slices.Equal(was.Places, c.Places) {
		return nil
	}
	b, err := json.Marshal(c)
	if err != nil {
		return err
	}
	return wholefile.Replace(filepath.Join(state, file), 0o600, b)
}
