package archive

import (
	"fmt"

	"linecamp/verify"
)

// IDs are the ids of the settings' copies by name.
func (a *Archive) IDs() map[string]string {
	ids := map[string]string{}
	for _, c := range a.Config.Copies {
		ids[c.Name] = c.ID
	}
	return ids
}

// ID is the id of the copy of that name, under which the ledger keeps what it
// knows of it. The working folder, and a copy of no settings, go by their name.
func (a *Archive) ID(name string) string {
	if id, ok := a.IDs()[name]; ok {
		return id
	}
	return name
}

// Damage is what the last checks found, with the names that the copies have now,
// but for copies that the settings no longer have: nobody could put that right.
func (a *Archive) Damage() ([]verify.Damage, error) {
	all, err := a.Ledger.Damage()
	if err != nil {
		return nil, fmt.Errorf("the ledger: %w", err)
	}
	names := map[string]string{verify.WorkingName: verify.WorkingName}
	for name, id := range a.IDs() {
		names[id] = name
	}
	known := []verify.Damage{}
	for _, d := range all {
		if name, ok := names[d.Copy]; ok {
			d.Copy = name
			known = append(known, d)
		}
	}
	return known, nil
}
