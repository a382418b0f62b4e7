package manifest

// Sizes tells how many bytes each digest of a version's state stands for, as the
// version's own record says. What is read from a copy is bounded by it: a file
// of another size is not what the manifest names, however long it goes on.
func Sizes(state map[string]Digest, rec *Record) map[Digest]int64 {
	sizes := map[Digest]int64{}
	if rec == nil {
		return sizes
	}
	for p, e := range rec.Paths {
		if d, ok := state[p]; ok {
			sizes[d] = e.Bytes
		}
	}
	return sizes
}
