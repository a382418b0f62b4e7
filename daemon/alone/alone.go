// Package alone tells what one copy of an archive holds that no other one does,
// before a person stops using it. Call [Look]. The others are looked at as they are
// now: what was there once, or should be, counts for nothing.
package alone

import (
	"context"
	"fmt"
	"maps"
	"path"
	"slices"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/words"
)

// Copy is one copy of the archive as it is found now.
type Copy struct {
	Name string
	ID   string
	Root store.Root // nil where it is out of reach
}

// In is what Look works with.
type In struct {
	Copy
	// Committed is the newest version of each object that the copy was last known
	// to have, and Read whether that was ever known. Where the copy is within reach,
	// it is asked itself.
	Committed map[string]int
	Read      bool
	Others    []Copy
	// Object returns the newest manifest of an object known anywhere, and its
	// record where that can be read.
	Object func(slug string) (*manifest.Inventory, *manifest.Record, error)
	// Damaged reports that bytes on a copy are known to be bad.
	Damaged func(copyID, slug, content string) bool
}

// Report is what the copy alone holds, as far as this machine knows.
type Report struct {
	Copy string `json:"copy"`
	ID   string `json:"id"`
	// Paths are people's files that only this copy has, and Versions what else is
	// recorded nowhere but there, "Stake 3 v4".
	Paths    []string `json:"paths"`
	Versions []string `json:"versions"`
	// Unread: this machine never read the copy, so nobody can say.
	Unread bool `json:"unread,omitempty"`
	Here   bool `json:"here"` // the copy is within reach
	// NotAsked are the other copies out of reach, which may have some of it.
	NotAsked []string `json:"not_asked,omitempty"`
}

// Any reports whether anything is lost, or may be, with the copy.
func (r Report) Any() bool { return r.Unread || len(r.Paths)+len(r.Versions) > 0 }

// Reason is why the copy is still needed, as a clause.
func (r Report) Reason() string {
	var s string
	switch {
	case r.Unread:
		s = fmt.Sprintf("this computer never read %s, so what it alone holds is not known", r.Copy)
	case len(r.Paths) > 0:
		s = fmt.Sprintf("only %s is known to hold %s, such as %s", r.Copy, words.Count(len(r.Paths), "file", "files"), manifest.Printable(r.Paths[0]))
	case len(r.Versions) > 0:
		s = fmt.Sprintf("only %s is known to hold what was recorded as %s", r.Copy, manifest.Printable(r.Versions[0]))
	}
	if len(r.NotAsked) > 0 {
		s += fmt.Sprintf(" (out of reach now, and not asked: %s)", strings.Join(r.NotAsked, ", "))
	}
	return s
}

// Look compares the copy with the others. The error is for a context that ended
// and for the copy itself, where it is within reach and cannot be listed; another
// copy that cannot be read holds nothing that can be counted on.
func Look(ctx context.Context, in In) (Report, error) {
	r := Report{Copy: in.Name, ID: in.ID, Here: in.Root != nil, Paths: []string{}, Versions: []string{}}
	for _, o := range in.Others {
		if o.Root == nil {
			r.NotAsked = append(r.NotAsked, o.Name)
		}
	}
	have, err := in.versions(ctx)
	if err != nil {
		return r, err
	}
	r.Unread = have == nil
	for _, slug := range slices.Sorted(maps.Keys(have)) {
		if err := in.object(ctx, slug, have[slug], &r); err != nil {
			return r, err
		}
	}
	return r, nil
}

// versions is the newest version of each object on the copy; nil where nobody
// knows.
func (in *In) versions(ctx context.Context) (map[string]int, error) {
	if in.Root == nil && !in.Read {
		return nil, nil
	}
	have := map[string]int{}
	maps.Copy(have, in.Committed)
	if in.Root == nil {
		return have, nil
	}
	slugs, err := store.Objects(ctx, in.Root)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", in.Name, err)
	}
	for _, slug := range slugs {
		inv, err := store.Head(ctx, in.Root, slug)
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if err == nil {
			have[slug] = max(have[slug], inv.Head())
		}
	}
	return have, nil
}

// object adds to r what only the copy has of one object up to version n.
func (in *In) object(ctx context.Context, slug string, n int, r *Report) error {
	inv, rec, err := in.Object(slug)
	if in.Root != nil { // what it says of itself, where it got further
		if own, oerr := store.Head(ctx, in.Root, slug); oerr == nil && (err != nil || own.Head() > inv.Head()) {
			inv, err = own, nil
		}
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil || inv.Head() < n {
		r.Versions = append(r.Versions, fmt.Sprintf("%s v%d", slug, n))
		return nil
	}
	inv = inv.Until(n)
	lacking, err := in.held(ctx, inv)
	if err != nil {
		return err
	}
	known := 0 // the newest version that another copy has
	for _, o := range in.Others {
		if o.Root == nil || known == n && len(lacking) == 0 {
			continue
		}
		m, err := in.found(ctx, o, inv, lacking)
		if err != nil {
			return err
		}
		known = max(known, m)
	}
	site := slug
	if rec != nil {
		site = path.Join(rec.Pasture, rec.Site)
	}
	before := len(r.Paths)
	for p, versions := range inv.EveryVersion() {
		if slices.ContainsFunc(versions, func(h manifest.Held) bool { return lacking[h.Digest] }) {
			if rec != nil {
				p = path.Join(rec.Base, p)
			}
			r.Paths = append(r.Paths, p)
		}
	}
	slices.Sort(r.Paths[before:])
	if len(r.Paths) == before && (known < n || len(lacking) > 0) {
		r.Versions = append(r.Versions, fmt.Sprintf("%s v%d", site, n))
	}
	return nil
}

// held is the content the copy itself has of an object. A version may have been
// committed without bytes that nobody had.
func (in *In) held(ctx context.Context, inv *manifest.Inventory) (map[manifest.Digest]bool, error) {
	var there map[string]bool // nil where the copy cannot be asked
	if in.Root != nil {
		there = map[string]bool{}
		for info, err := range in.Root.List(ctx, inv.Slug()) {
			if err != nil {
				return nil, fmt.Errorf("%s: %w", in.Name, err)
			}
			there[info.Key] = true
		}
	}
	held := map[manifest.Digest]bool{}
	for d, paths := range inv.Content {
		for _, p := range paths {
			if (there == nil || there[inv.Slug()+"/"+p]) && !in.Damaged(in.ID, inv.Slug(), p) {
				held[d] = true
			}
		}
	}
	return held, nil
}

// found takes out of lacking what another copy has of an object, and returns the
// newest version that is committed there.
func (in *In) found(ctx context.Context, o Copy, inv *manifest.Inventory, lacking map[manifest.Digest]bool) (int, error) {
	theirs, err := store.Head(ctx, o.Root, inv.Slug())
	if err != nil {
		return 0, ctx.Err()
	}
	m := min(theirs.Head(), inv.Head())
	if string(theirs.Until(m).Encode()) != string(inv.Until(m).Encode()) {
		return 0, nil // another history
	}
	there := map[string]bool{}
	for info, err := range o.Root.List(ctx, inv.Slug()) {
		if err != nil {
			return m, ctx.Err() // what could not be listed counts for nothing
		}
		there[info.Key] = true
	}
	for d := range lacking {
		for _, p := range inv.Content[d] {
			if version, _, _ := strings.Cut(p, "/"); counts(version, m) && there[inv.Slug()+"/"+p] && !in.Damaged(o.ID, inv.Slug(), p) {
				delete(lacking, d)
				break
			}
		}
	}
	return m, nil
}

// counts reports whether a version folder, "v3", is one of the first m.
func counts(folder string, m int) bool {
	var n int
	_, err := fmt.Sscanf(folder, "v%d", &n)
	return err == nil && n <= m
}
