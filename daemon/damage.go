package daemon

import (
	"fmt"

	"linecamp/verify"
)

// ids are the ids of the settings' copies by name.
func (a *Archive) ids() map[string]string {
	ids := map[string]string{}
	for _, c := range a.cfg.Copies {
		ids[c.Name] = c.ID
	}
	return ids
}

// id is the id of the copy of that name, under which the ledger keeps what it
// knows of it. The working folder, and a copy of no settings, go by their name.
func (a *Archive) id(name string) string {
	if id, ok := a.ids()[name]; ok {
		return id
	}
	return name
}

// damage is what the last checks found, with the names that the copies have now,
// but for copies that the settings no longer have: nobody could put that right.
func (a *Archive) damage() ([]verify.Damage, error) {
	all, err := a.ledger.Damage()
	if err != nil {
		return nil, fmt.Errorf("the ledger: %w", err)
	}
	names := map[string]string{verify.WorkingName: verify.WorkingName}
	for name, id := range a.ids() {
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

// forgetMended takes what was put right out of the damage on record.
func (a *Archive) forgetMended(r MendReport) error {
	damage, err := a.ledger.Damage()
	if err != nil {
		return err
	}
	left, mended, names := map[string][]verify.Damage{}, map[[3]string]bool{}, map[string]string{}
	for _, m := range r.Mended {
		id := a.id(m.Copy)
		left[id], names[id] = nil, m.Copy
		mended[[3]string{id, m.Object, m.Content}] = true
	}
	for _, d := range damage {
		if _, touched := left[d.Copy]; touched && !mended[[3]string{d.Copy, d.Object, d.Content}] {
			left[d.Copy] = append(left[d.Copy], d)
		}
	}
	for id, rest := range left {
		if err := a.setDamage(names[id], id, rest); err != nil {
			return err
		}
	}
	return a.ledger.Flush()
}
