package verify

import (
	"slices"

	"linecamp/manifest"
)

// Wants reports whether something wants a person: damage, a copy that could not
// be checked (one that is away does not count, unless it was asked for by name),
// years that could not be judged,
// nothing recorded yet, a year that is lost, recoverable,
// short or skipped, a finding that asks for something.
func (r Report) Wants() bool {
	if r.Nothing || r.YearsError != "" {
		return true
	}
	for _, c := range r.Copies {
		if len(c.Damage) > 0 || c.SealFault != "" || len(c.Standard) > 0 || (c.Error != "" && (!c.Away || c.Copy == r.Asked)) {
			return true
		}
	}
	return slices.ContainsFunc(r.Years, Year.Wants) || slices.ContainsFunc(r.Findings, Finding.Wants)
}

// Shown is [manifest.Printable].
func Shown(s string) string { return manifest.Printable(s) }
