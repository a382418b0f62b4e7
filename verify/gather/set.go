package gather

import (
	"bytes"
	"iter"
	"slices"

	"linecamp/manifest"
)

// set holds a million digests in 16 MB: sixteen bytes of each, in order. That two
// digests begin with the same sixteen bytes does not happen by chance.
type set [][16]byte

func brief(d manifest.Digest) [16]byte { return [16]byte(d[:16]) }

// named is what stands for a path in a set.
func named(path string) [16]byte { return brief(manifest.Sum([]byte(path))) }

func (s set) sort() { slices.SortFunc(s, func(a, b [16]byte) int { return bytes.Compare(a[:], b[:]) }) }

func (s set) has(k [16]byte) bool {
	_, ok := slices.BinarySearchFunc(s, k, func(a, b [16]byte) int { return bytes.Compare(a[:], b[:]) })
	return ok
}

// Repeated are digests that occur more than once.
type Repeated map[[16]byte]bool

// Has reports whether a digest is one of them.
func (r Repeated) Has(d manifest.Digest) bool { return r[brief(d)] }

// Twice returns the digests that occur more than once among those given.
func Twice(all iter.Seq[manifest.Digest]) Repeated {
	var s set
	for d := range all {
		s = append(s, brief(d))
	}
	s.sort()
	twice := Repeated{}
	for i := 1; i < len(s); i++ {
		if s[i] == s[i-1] {
			twice[s[i]] = true
		}
	}
	return twice
}
