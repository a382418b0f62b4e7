package within

import (
	"iter"
	"path/filepath"
)

// Names are what a place is called: two places of which one lies in the other have one
// of [Place.Above] and one of Names in common. Whether it does, [Place.In] decides.
func (p Place) Names() []string {
	names := []string{"path " + folded(p.Path)}
	if p.is != nil {
		if id := identity(p.is); id != "" {
			names = append(names, id)
		}
	}
	return names
}

// Above are the names of a place and of all folders that it lies in.
func (p Place) Above() iter.Seq[string] {
	return func(yield func(string) bool) {
		for at := folded(p.Path); ; at = filepath.Dir(at) {
			if !yield("path " + at) {
				return
			}
			if at == filepath.Dir(at) {
				break
			}
		}
		for _, is := range p.above {
			if id := identity(is); id != "" && !yield(id) {
				return
			}
		}
	}
}
