package report

import (
	"time"

	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/sites"
	"linecamp/manifest"
	"linecamp/manifest/tally"
	"linecamp/verify"
)

// Edits are the photos of years before now that the newest version of o, made by a
// step, records with other bytes than the state before it.
func Edits(st plan.Step, before map[string]manifest.Digest, o *sites.Object, now time.Time) (edits []Edit) {
	state, year := o.Inv.State(o.Head()), now.Format("2006")
	for _, logical := range st.Altered {
		f := st.Group.Files[logical]
		recorded := state[logical] == f.SHA256 && before[logical] != f.SHA256
		if recorded && f.Kind == manifest.KindPhoto && f.Visit != "" && f.Visit[:4] < year {
			site := verify.Site{Object: o.Slug, Site: st.Group.Site, Pasture: st.Group.Pasture}
			edits = append(edits, Edit{Site: site.Asked(), Path: tally.Logical(f.Path), Visit: f.Visit})
		}
	}
	return edits
}

// Departed is how many files the newest version of o, made by a step, no longer has
// whose bytes it has nowhere else: a file that was only renamed did not leave.
func Departed(st plan.Step, before map[string]manifest.Digest, o *sites.Object) (n int) {
	here := map[manifest.Digest]bool{}
	for _, d := range o.Inv.State(o.Head()) {
		here[d] = true
	}
	for _, logical := range st.Gone {
		if st.First && !here[before[logical]] {
			n++
		}
	}
	return n
}
