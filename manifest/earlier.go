package manifest

import (
	"slices"
)

// Earlier makes the record of an earlier version again, whose state is given,
// from a later one. Sites mostly grow: what the later record says of the paths
// that both versions have is then what the earlier one said. It returns nil where
// the digest in the state tells that it was not so.
func (r *Record) Earlier(state map[string]Digest) []byte {
	want, ok := state[RecordPath]
	if !ok {
		return nil
	}
	was := Record{Site: r.Site, Pasture: r.Pasture, Base: r.Base, Paths: map[string]Entry{}}
	for p := range state {
		if reserved(p) {
			continue
		}
		e, ok := r.Paths[p]
		if !ok {
			return nil
		}
		was.Paths[p] = e
	}
	for p, e := range was.Paths {
		if _, ok := was.Paths[e.With]; e.With != "" && !ok {
			e.With = ""
			was.Paths[p] = e
		}
	}
	// Decisions are only ever added, and by one version at a time.
	for n := len(r.Decisions); n >= 0; n-- {
		was.Decisions = slices.Clip(r.Decisions[:n])
		if b := was.Encode(); Sum(b) == want {
			return b
		}
		if len(r.Decisions)-n == mostDecisions {
			break
		}
	}
	return nil
}

// mostDecisions bounds how often Earlier tries.
const mostDecisions = 32
