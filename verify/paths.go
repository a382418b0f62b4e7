package verify

import (
	"path"
	"strconv"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/within"
)

// WorkingPath is the raw path, relative to the working folder, of a file that a
// record names; "" if that would lead out of the folder.
func WorkingPath(rec *manifest.Record, logical string) string {
	raw := logical
	if e, ok := rec.Paths[logical]; ok && len(e.Raw) > 0 {
		raw = string(e.Raw)
	}
	p := path.Join(rec.Base, raw)
	if !within.Local(p) {
		return ""
	}
	return p
}

// DateIn finds a visit's date in the elements of a path, for a file whose record
// is lost: the first that begins with a day or is a bare year.
func DateIn(path string) string {
	for e := range strings.SplitSeq(path, "/") {
		if len(e) >= 10 {
			if _, err := time.Parse(time.DateOnly, e[:10]); err == nil {
				return e[:10]
			}
		}
		if len(e) == 4 && (e[0] == '1' || e[0] == '2') {
			if _, ok := YearOf(e); ok {
				return e
			}
		}
	}
	return ""
}

// yearOf is the year of a visit's date.
func YearOf(visit string) (int, bool) {
	if len(visit) < 4 {
		return 0, false
	}
	n, err := strconv.Atoi(visit[:4])
	return n, err == nil && n > 0
}

// VersionOf is the number of the version folder a path lies in; 0 for none.
func VersionOf(p string) int {
	first, _, ok := strings.Cut(p, "/")
	if !ok || len(first) < 2 || first[0] != 'v' || first[1] == '0' {
		return 0
	}
	n, err := strconv.Atoi(first[1:])
	if err != nil || n < 1 {
		return 0
	}
	return n
}
