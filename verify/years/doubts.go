package years

import (
	"slices"
)

// doubts are the folders whose photos may be of a visit nobody knows the year of.
func (j *judge) findDoubts() {
	for _, u := range j.Undated(j.items, j.now) {
		if u.Found && !u.Filed {
			j.doubts = append(j.doubts, u.Doubt)
		}
	}
	if len(j.doubts) == 0 {
		return
	}
	// The same site, had it been visited in all the years they may be of.
	other := *j
	other.rounds = slices.Clone(j.rounds)
	for _, d := range j.doubts {
		if len(d.Years) == 0 {
			return
		}
		other.rounds = append(other.rounds, d.Years...)
	}
	slices.Sort(other.rounds)
	other.rounds = slices.Compact(other.rounds)
	for len(other.rounds) > 0 && other.rounds[len(other.rounds)-1] > j.now.Year() {
		other.rounds = other.rounds[:len(other.rounds)-1]
	}
	j.anyway, _ = other.expected(j.now.Year())
}

// mayBeOf are the folders whose photos may be of a visit of the year.
func (j *judge) mayBeOf(year int) (folders []string) {
	for _, d := range j.doubts {
		if d.In(year) {
			folders = append(folders, d.Folder)
		}
	}
	return folders
}

// mayExplain are the folders because of which nobody can say that a year without any
// visit was skipped: they may be of it, or of others that tell another cadence.
func (j *judge) mayExplain(year int) (folders []string) {
	if folders = j.mayBeOf(year); folders == nil && len(j.doubts) > 0 && !slices.Contains(j.anyway, year) {
		for _, d := range j.doubts {
			folders = append(folders, d.Folder)
		}
	}
	return folders
}
