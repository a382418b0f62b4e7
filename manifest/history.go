package manifest

import (
	"cmp"
	"slices"
	"time"
)

// Held is one content that a site's history holds for a path.
type Held struct {
	Digest Digest

	// Version is the newest version that has these bytes at Path. Its record
	// knows their time and, where it matters, the raw name.
	Version int

	// Path is the logical path in that version. It differs from the path the
	// history is asked for only in EveryVersion, for bytes from before a move.
	Path string
}

// FullHistory returns every file that any version had, each path with its
// newest bytes. What was deleted is there; what was moved is there under its
// new name only, unless a file came back under the old one later. Reserved
// paths are left out.
func (inv *Inventory) FullHistory() map[string]Held {
	held := map[string]Held{}
	inv.walk(func(old, _ string) {
		delete(held, old)
	}, func(path string, d Digest, n int) {
		held[path] = Held{Digest: d, Version: n, Path: path}
	})
	return held
}

// EveryVersion returns, for each path of FullHistory, all bytes that it ever
// had, oldest first: each digest once, where it was last. The last one is that
// of FullHistory. A moved file brings along what it had under its old name.
func (inv *Inventory) EveryVersion() map[string][]Held {
	held := map[string][]Held{}
	put := func(path string, h Held) {
		list := held[path]
		i := slices.IndexFunc(list, func(o Held) bool { return o.Digest == h.Digest })
		switch {
		case i < 0:
			held[path] = append(list, h)
		case list[i].Version <= h.Version:
			list[i] = h
		}
	}
	inv.walk(func(old, new string) {
		for _, h := range held[old] {
			put(new, h)
		}
		delete(held, old)
	}, func(path string, d Digest, n int) {
		put(path, Held{Digest: d, Version: n, Path: path})
	})
	for _, list := range held {
		slices.SortStableFunc(list, func(a, b Held) int { return cmp.Compare(a.Version, b.Version) })
	}
	return held
}

// walk goes through the versions, oldest first: for each one, the moves that
// led to it, then the files it has.
func (inv *Inventory) walk(move func(old, new string), file func(path string, d Digest, n int)) {
	for i := range inv.Versions {
		state := inv.Versions[i].State
		if i > 0 {
			for old, new := range Moves(inv.Versions[i-1].State, state) {
				move(old, new)
			}
		}
		for path, d := range state {
			if !reserved(path) {
				file(path, d, i+1)
			}
		}
	}
}

// AsOf returns the number of the version that was current at t: the newest one
// created at t or before. It is 0 if there was none yet.
func (inv *Inventory) AsOf(t time.Time) int {
	for n := inv.Head(); n > 0; n-- {
		if !inv.Versions[n-1].Created.After(t) {
			return n
		}
	}
	return 0
}
