package verify

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/seal"
)

// ClosedBy are the objects, by slug, that a seal says are not gone on with. The site of
// each goes on in another, whose record joins the closed one to it.
func ClosedBy(s *seal.Seal) map[string]bool {
	closed := map[string]bool{}
	for l := range s.All() {
		if l.What != seal.Closed {
			continue
		}
		if _, slug, err := manifest.ParseObjectID(l.Object); err == nil {
			closed[slug] = true
		}
	}
	return closed
}

// JoinedIn are the objects that a record joins to its own; rec may be nil. Of two
// decisions about one object the newer counts: it may be parted again.
func JoinedIn(rec *manifest.Record) (slugs []string) {
	if rec == nil {
		return nil
	}
	newest := map[string]manifest.Decision{}
	for _, d := range rec.Decisions {
		if was, ok := newest[d.Path]; IsPairing(d) && (!ok || !d.When.Before(was.When)) {
			newest[d.Path] = d
		}
	}
	for _, d := range slices.SortedFunc(maps.Values(newest), func(a, b manifest.Decision) int {
		return cmp.Or(a.When.Compare(b.When), cmp.Compare(a.Path, b.Path))
	}) {
		if d.What == manifest.Joined {
			slugs = append(slugs, d.Path)
		}
	}
	return slugs
}

// IsPairing reports whether a decision is about two sites.
func IsPairing(d manifest.Decision) bool {
	return (d.What == manifest.Joined || d.What == manifest.Apart) && d.Path != ""
}

// OneSite leaves out the closed objects that others go on from, which then go by their
// slugs too. joined is what each object's record joins to it.
func OneSite(sites []Site, joined map[string][]string, closed map[string]bool) []Site {
	var one []Site
	for _, s := range sites {
		if closed[s.Object] && slices.ContainsFunc(sites, func(o Site) bool { return o.Object != s.Object && slices.Contains(joined[o.Object], s.Object) }) {
			continue
		}
		before := slices.Clone(joined[s.Object])
		for i := 0; i < len(before); i++ { // of those before, in turn
			for _, more := range joined[before[i]] {
				if more != s.Object && !slices.Contains(before, more) {
					before = append(before, more)
				}
			}
		}
		s.Before = strings.Join(slices.DeleteFunc(before, func(slug string) bool { return !closed[slug] }), " ")
		one = append(one, s)
	}
	return one
}
