package verify

import (
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

// JoinedIn are the objects that a record joins to its own; rec may be nil.
func JoinedIn(rec *manifest.Record) (slugs []string) {
	if rec == nil {
		return nil
	}
	for _, d := range rec.Decisions {
		if d.What == manifest.Joined && !slices.Contains(slugs, d.Path) {
			slugs = append(slugs, d.Path)
		}
	}
	return slugs
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
