package gather

import (
	"linecamp/manifest"
	"linecamp/manifest/card"
)

// Declare brings what cards say to their sites. A site that was filed under
// another name before takes over what is still recorded under that; one that
// replaces another ends what is expected of it.
func (in *Input) Declare(cards *card.Set) {
	for i := range in.Sites {
		s := &in.Sites[i]
		k := card.Key{Pasture: s.Pasture, Site: s.Site}
		s.Card = cards.Of(k)
		if p, ok := cards.Position(k); ok {
			s.Position = &p
		}
	}
	in.JoinByCards()
}

// JoinByCards joins and ends sites as their cards say.
func (in *Input) JoinByCards() {
	for i := 0; i < len(in.Sites); i++ {
		for _, name := range in.Sites[i].Card.Formerly {
			at := in.named(in.Sites[i].Pasture, name)
			if at < 0 || at == i {
				continue
			}
			i = in.takeOver(i, at)
		}
	}
	for i := range in.Sites {
		s := &in.Sites[i]
		if s.Card.Replaces == "" {
			continue
		}
		if at := in.named(s.Pasture, s.Card.Replaces); at >= 0 && at != i {
			old := &in.Sites[at].Card
			if began := s.Began(); began != "" && (old.Retired == "" || began < old.Retired) {
				old.Retired = began
			}
		}
	}
}

// named finds the site of a name, in the pasture rather than elsewhere; -1 where
// there is none, or no one.
func (in *Input) named(pasture, name string) int {
	found, several := -1, false
	for i := range in.Sites {
		if manifest.Folded(in.Sites[i].Site) != manifest.Folded(name) {
			continue
		}
		if in.Sites[i].Pasture == pasture {
			return i
		}
		several = found >= 0
		found = i
	}
	if several {
		return -1
	}
	return found
}
