// Package claims remembers which places an archive's settings named when its state was
// last opened, and since when: [Note] writes them into the state folder, and [Of] reads
// them. Where the settings of two archives reach for one place, the one that was there
// before keeps it. Settings that were opened alone, held against no others, may have named
// it too since then.
package claims

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"time"

	"linecamp/manifest/wholefile"
)

const file = "places.json"

// Claims are the places, each as the settings' rules write it, and the settings' file.
type Claims struct {
	Settings string   `json:"settings"`
	Places   []string `json:"places"`
	// Since is when each was first named. One that is not in it is from before that was
	// written down.
	Since map[string]time.Time `json:"since,omitempty"`
}

// Of reads those of a state folder; none where they cannot be read.
func Of(state string) (c Claims) {
	b, err := os.ReadFile(filepath.Join(state, file))
	if err != nil || json.Unmarshal(b, &c) != nil {
		return Claims{}
	}
	return c
}

// Before reports whether settings named a place, and o does not, or does only since then.
func (c Claims) Before(o Claims, settings, place, others, otherPlace string) bool {
	if !c.has(settings, place) {
		return false
	}
	return !o.has(others, otherPlace) || c.Since[place].Before(o.Since[otherPlace])
}

func (c Claims) has(settings, place string) bool {
	return c.Settings == settings && slices.Contains(c.Places, place)
}

// Note writes them into the state folder, where they are others than before. now is since
// when those are named that were not.
func Note(state string, c Claims, now time.Time) error {
	if c.Settings == "" {
		return nil
	}
	was := Of(state)
	if was.Settings == c.Settings && slices.Equal(was.Places, c.Places) {
		return nil
	}
	c.Since = map[string]time.Time{}
	for _, p := range c.Places {
		if !was.has(c.Settings, p) {
			c.Since[p] = now.UTC()
		} else if since, known := was.Since[p]; known {
			c.Since[p] = since
		}
	}
	b, err := json.Marshal(c)
	if err != nil {
		return err
	}
	return wholefile.Replace(filepath.Join(state, file), 0o600, b)
}
