package seal

import (
	"cmp"
	"slices"
)

// Told is the seal that one copy tells, and who records there, as far as its
// author file was read.
type Told struct {
	Seal  *Seal // nil where it could not be read
	Epoch int   // that the copy's author file names, 0 where nobody looked
	Ours  bool  // and whether it names this state folder
}

// Right is the archive's seal: the longest of those that go on from what this
// machine knows, nil for nothing known. Where two of them go different ways, and
// what is known is too short to tell, the one whose copy names the later epoch is
// the archive's, since a person decided. In the same epoch nobody did: this
// machine's own comes first, then the longest. The index is that of the one told
// which it is, -1 for the one known.
//
// Everything that has to choose between seals asks Right, and whoever has to say
// what is wrong with another seal asks Against.
func Right(known *Seal, told ...Told) (right *Seal, index int) {
	order := make([]int, 0, len(told))
	for i, t := range told {
		if t.Seal != nil {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(i, j int) int {
		a, b := told[i], told[j]
		if a.Epoch == b.Epoch && a.Ours != b.Ours {
			if a.Ours {
				return -1
			}
			return 1
		}
		return cmp.Or(cmp.Compare(b.Epoch, a.Epoch), cmp.Compare(b.Seal.Len(), a.Seal.Len()))
	})
	right, index = known, -1
	for _, i := range order {
		if s := told[i].Seal; right == nil || s.Len() > right.Len() && s.Extends(right) {
			right, index = s, i
		}
	}
	return right, index
}

// Stand is how one seal stands to the archive's.
type Stand int

const (
	Begins Stand = iota // it is the beginning of the archive's, or all of it
	Ahead               // it goes on from the archive's
	Rotten              // it was the beginning, and a few of its bytes rotted
	Astray              // it tells another history
)

// Against is how s stands to the archive's seal.
func (s *Seal) Against(right *Seal) Stand {
	switch {
	case right.Extends(s):
		return Begins
	case s.Extends(right):
		return Ahead
	case s.Rotted(right):
		return Rotten
	}
	return Astray
}
