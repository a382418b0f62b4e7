package mirror

import (
	"slices"
	"strings"

	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/manifest"
)

// unkept are the files that the last round was shown and no copy ever had, by path.
func (s *sim) unkept() (all []string) {
	for _, path := range s.paths() {
		f := s.files[path]
		if s.shown[path] && !f.rotten && !slices.ContainsFunc(f.may(), s.everKept) {
			all = append(all, path)
		}
	}
	return all
}

// everKept reports whether a version that is committed on any copy has d. Whether
// its bytes rotted there since is for a check to find.
func (s *sim) everKept(d manifest.Digest) bool {
	return slices.ContainsFunc(s.copies, func(c *simCopy) bool {
		for _, of := range []map[string]manifest.Digest{c.kept, c.lacking} {
			for _, is := range of {
				if is == d {
					return true
				}
			}
		}
		return false
	})
}

// checkUnkept: what no copy has after a round of the recording machine, its report
// says: the path or its folder waits, all waits, its site is held up, or no copy
// took anything. A drive that can be read holds nothing up, whatever it refuses.
func (s *sim) checkUnkept(rep report.Report) {
	lacking := s.unkept()
	if len(lacking) == 0 {
		return
	}
	simUnkept++
	stood := slices.ContainsFunc(rep.Copies, func(c report.CopyState) bool { return c.State == reach.Current || c.State == reach.Behind })
	for _, h := range rep.HeldUp {
		if c := s.copyNamed(h.Copy); c.kind == "drive" && c.trouble.kind == "" {
			s.t.Fatalf("version %d of %q is held up by %s (%s), which can be read: %s", h.Version, h.Object, c.name, c.ailment.kind, h.Reason)
		}
	}
	for _, path := range lacking {
		waits := slices.ContainsFunc(rep.Waiting, func(w report.Waiting) bool {
			return w.Path == "" || w.Path == path || ofSite(w) || strings.HasPrefix(path, w.Path+"/")
		})
		if !waits && len(rep.HeldUp) == 0 && stood {
			s.t.Fatalf("no copy has %s, and the round does not say so", path)
		}
	}
}

// ofSite reports whether a report's line is about all of an object, not one file.
func ofSite(w report.Waiting) bool {
	return !strings.Contains(w.Path, "/") && (strings.Contains(w.Path, "--") || strings.HasPrefix(w.Path, "unfiled"))
}

var simUnkept int // rounds after which something was not kept, and was told
