package plan

import (
	"linecamp/manifest/tally"
	"linecamp/manifest/within"
)

// uncertain holds the raw paths whose absence from the tally proves nothing.
type uncertain struct {
	paths   map[string]bool
	folders []string
}

func uncertainPaths(t *tally.Result) uncertain {
	u := uncertain{paths: map[string]bool{}, folders: t.Unlisted}
	for _, w := range t.Waiting {
		u.paths[w.Path] = true
	}
	for _, w := range t.Passed {
		u.paths[w.Path] = true
	}
	return u
}

func (u uncertain) holds(raw string) bool {
	if u.paths[raw] {
		return true
	}
	for i := range len(raw) { // a link in the place of a folder was not listed
		if raw[i] == '/' && u.paths[raw[:i]] {
			return true
		}
	}
	for _, f := range u.folders {
		if f == "." || within.Below(raw, f) {
			return true
		}
	}
	return false
}
