package verify

import (
	"maps"

	"linecamp/manifest"
	"linecamp/manifest/seal"
)

// Sealed is what a seal says of each version's inventory, by object id.
type Sealed map[string]map[int]manifest.Digest

// SealedBy takes it from the lines of a seal, of the versions that still count.
func SealedBy(s *seal.Seal) Sealed {
	all := Sealed{}
	for l := range s.All() {
		if l.Drops() {
			maps.DeleteFunc(all[l.Object], func(n int, _ manifest.Digest) bool { return n >= l.Version })
		}
		if l.What != seal.Version {
			continue
		}
		if all[l.Object] == nil {
			all[l.Object] = map[int]manifest.Digest{}
		}
		all[l.Object][l.Version] = l.Inventory
	}
	return all
}

// Vouches reports whether an inventory is what the seal says of the newest of
// its versions that the seal names. Where it names none, nothing speaks against
// it.
func (s Sealed) Vouches(inv *manifest.Inventory) bool {
	for n := inv.Head(); n > 0; n-- {
		if want, named := s[inv.ID][n]; named {
			return manifest.Sum(inv.Until(n).Encode()) == want
		}
	}
	return true
}
