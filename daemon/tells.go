package daemon

import (
	"slices"

	"linecamp/daemon/attention"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/reach"
	"linecamp/verify"
)

// Tells reports whether the report's own lines say what wants a person. What is
// about a copy that was not asked for, or about another round, they do not say.
func (r MirrorReport) Tells(i attention.Item) bool {
	switch i.Kind {
	case attention.CopyBehind, attention.CopyUnreachable, attention.CopyFailed, attention.CopyShort:
		return slices.ContainsFunc(r.Copies, func(c report.CopyState) bool {
			return c.Copy == i.Copy && c.State != reach.Current && c.State != reach.Away
		})
	}
	return slices.ContainsFunc(r.Asks, func(a report.Ask) bool { return a.Kind() == i.Kind }) ||
		slices.ContainsFunc(r.Waiting, func(w report.Waiting) bool { return w.Person && w.Kind == i.Kind })
}

// Tells reports whether the report's own lines say what wants a person.
func (r VerifyReport) Tells(i attention.Item) bool {
	switch i.Kind {
	case attention.Damage:
		found := 0
		for _, c := range r.Copies {
			found += len(c.Damage)
		}
		return found >= i.Files
	case attention.Years, attention.Findings:
		return r.Judged
	case attention.SealBroken, attention.Standard, attention.CheckFailed:
		k := slices.IndexFunc(r.Copies, func(c verify.CopyReport) bool { return c.Copy == i.Copy })
		return k >= 0 && (i.Kind != attention.SealBroken || r.Copies[k].SealFault != "")
	}
	return false
}
