package status

import (
	"errors"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"linecamp/daemon/archive"
	"linecamp/daemon/attention"
	"linecamp/manifest"
	"linecamp/verify"
)

// lost reports whether the bytes at these paths of an object were found bad, and no copy
// has them good as far as is known.
func lost(a *archive.Archive, damage []verify.Damage, slug string, content []string) (bool, error) {
	bad := map[string]bool{} // copies, by id
	for _, d := range damage {
		if d.Object == slug && slices.Contains(content, d.Content) {
			bad[d.Copy] = true
		}
	}
	if len(bad) == 0 {
		return false, nil
	}
	for _, c := range a.Config.Copies {
		has, err := a.Ledger.Committed(c.ID)
		if err != nil || !bad[c.ID] && has[slug] >= verify.VersionOf(content[0]) {
			return false, err
		}
	}
	return true, nil
}

// neverHere is what is on record and was never in the working folder, as the last
// round noted it, less what was brought since.
func neverHere(a *archive.Archive) ([]attention.NotHere, error) {
	rows, err := a.Ledger.Unseen()
	if err != nil || len(rows) == 0 {
		return nil, err
	}
	damage, err := a.Ledger.Damage()
	if err != nil {
		return nil, err
	}
	var all []attention.NotHere
	for _, slug := range slices.Sorted(maps.Keys(rows)) {
		inv, rec, err := a.Cached(slug)
		if err != nil {
			continue // the next round has it at hand, or says that no copy has
		}
		site := verify.Site{Object: slug, Site: rec.Site, Pasture: rec.Pasture}
		n := attention.NotHere{Site: site.Label(), Asked: site.Asked()}
		if manifest.Unfiled(slug) {
			n.Asked = ""
		}
		years := map[int]bool{}
		state := inv.State(inv.Head())
		for _, logical := range slices.Sorted(maps.Keys(rows[slug].Paths)) {
			raw := verify.WorkingPath(rec, logical)
			if state[logical] != rows[slug].Paths[logical] || raw == "" {
				continue // another version took its place
			}
			switch gone, err := lost(a, damage, slug, inv.Content[state[logical]]); {
			case err != nil:
				return nil, err
			case gone:
				continue // the years and the damage tell of it
			}
			if _, err := os.Lstat(filepath.Join(a.Config.Folder, filepath.FromSlash(raw))); !errors.Is(err, fs.ErrNotExist) {
				continue
			}
			if n.Path == "" {
				n.Path = raw
			}
			e := rec.Paths[logical]
			n.Files++
			n.Bytes += e.Bytes
			if year, ok := verify.YearOf(e.Visit); ok {
				years[year] = true
			}
		}
		if n.Files > 0 {
			n.Years = slices.Sorted(maps.Keys(years))
			all = append(all, n)
		}
	}
	return all, nil
}
