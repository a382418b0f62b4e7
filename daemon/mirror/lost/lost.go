// Package lost finds versions that the seal names and no copy has any more. Call
// [Find] before versions are made; each [Version] it returns becomes a line `lost`
// of the seal, from where on it counts no more, and its site goes on.
//
// The seal goes ahead of the content, so that any copy tells which versions there
// are elsewhere. Where the copies that may have one are given up, or were out of
// reach when a person had this computer take over, its site must not wait for it for
// ever. A version is lost only where that is sure: every copy of the settings was
// asked in this round, or is excused by a take-over; none has its manifest or the
// sidecar of that, be it rotten; and none can take it over, since the manifest is not in
// the state folder either, or bytes that it names are nowhere in reach, or every copy in
// reach has another history's versions in its place.
// Content alone is no version: the next one of that number names it.
package lost

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strings"

	"linecamp/daemon/authority"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

// Copy is one copy of the settings.
type Copy struct {
	authority.Copy
	Excused bool                  // it was out of reach when this computer took over, and was not read since
	Lines   int                   // that the seal had then
	Has     func(slug string) int // the newest of the archive's versions of an object there
	// Other reports whether what it has beyond that is of another history.
	Other func(slug string) bool
}

// In is what is looked at.
type In struct {
	Log      *authority.Log
	Copies   []Copy
	Accepted bool   // a person said that changes are meant
	Machine  string // this computer's name
	// Takes reports whether a copy in reach may take the newest version after all.
	Takes func(ctx context.Context, slug string) (bool, error)
}

// Version is where an object's lost versions begin.
type Version struct {
	Slug string
	From int
	To   int
	Days []string // on which they were made
	Why  string
}

// Told is what each sentence about lost versions says.
const Told = "on no copy that is left"

// String tells it; site is the name people have for it.
func (v Version) String(site string) string {
	which, are := fmt.Sprintf("version %d", v.From), "is"
	if v.To > v.From {
		which, are = fmt.Sprintf("versions %d to %d", v.From, v.To), "are"
	}
	return fmt.Sprintf("%s of %s, made on %s, %s %s (%s), and the site goes on without; if a copy turns up that may have it, connect it and change nothing there",
		which, site, strings.Join(v.Days, " and "), are, Told, v.Why)
}

// Find returns what is lost, by object.
func Find(ctx context.Context, in In) ([]Version, error) {
	why, said := "each copy of today was asked", 0
	for _, c := range in.Copies {
		switch {
		case c.Root == nil && c.Excused:
			said = max(said, c.Lines)
			why = "out of reach when " + in.Machine + " took over"
		case !c.Usable():
			return nil, nil // it may have anything
		}
	}
	last := map[string]int{} // where each object's newest line stands
	word := said - 1         // and a person's newest word on copies or computers
	for i, l := range in.Log.Lines {
		switch l.What {
		case seal.Version:
			if _, slug, err := manifest.ParseObjectID(l.Object); err == nil && in.Log.Counts(slug, l) {
				last[slug] = i
			}
		case seal.GaveUp, seal.Author:
			word = max(word, i)
		}
	}
	var all []Version
	for _, slug := range slices.Sorted(maps.Keys(in.Log.Index)) {
		if !in.Accepted && last[slug] > word || in.Log.Closed(slug) {
			continue
		}
		from, err := in.lacking(ctx, slug)
		if err != nil {
			return nil, err
		}
		if from == 0 {
			continue
		}
		v := Version{Slug: slug, From: from, To: in.Log.Head(slug), Why: why}
		for _, l := range in.Log.Lines {
			if _, of, err := manifest.ParseObjectID(l.Object); err == nil && of == slug && !l.Inventory.IsZero() && l.Version >= from && in.Log.Counts(slug, l) {
				if day := l.At.Format("2006-01-02"); !slices.Contains(v.Days, day) {
					v.Days = append(v.Days, day)
				}
			}
		}
		all = append(all, v)
	}
	return all, nil
}

// lacking is the first version of slug that nobody has, 0 where that is not sure.
func (in In) lacking(ctx context.Context, slug string) (int, error) {
	head, most := in.Log.Head(slug), 0
	for _, c := range in.Copies {
		if c.Root != nil {
			most = max(most, c.Has(slug))
		}
	}
	if most >= head {
		return 0, nil
	}
	if takes, err := in.Takes(ctx, slug); takes || err != nil {
		return 0, err
	}
	for _, c := range in.Copies {
		if c.Root == nil || c.Other(slug) {
			continue
		}
		for ; most < head && in.hasManifest(ctx, c, slug, most+1); most++ {
			// The round that brought it ended before the sidecar: it is taken as it is.
		}
		for n := most + 1; n <= head+1; n++ {
			for _, name := range []string{store.InventoryName, store.SidecarName} {
				_, err := c.Root.Stat(ctx, store.VersionFile(slug, n, name))
				if ctx.Err() != nil {
					return 0, ctx.Err()
				}
				if !errors.Is(err, fs.ErrNotExist) {
					return 0, nil // it is there, or the copy cannot say
				}
			}
		}
	}
	if most == head {
		return 0, nil
	}
	return most + 1, nil
}

// hasManifest reports whether a copy has the manifest that the seal names for version n.
func (in In) hasManifest(ctx context.Context, c Copy, slug string, n int) bool {
	raw, _, err := store.ReadSmall(ctx, c.Root, store.VersionFile(slug, n, store.InventoryName), manifest.MaxInventory)
	want, _ := in.Log.Inventory(slug, n)
	return err == nil && manifest.Sum(raw) == want
}
