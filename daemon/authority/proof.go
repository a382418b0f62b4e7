package authority

import (
	"context"
	"slices"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

// proved is what the copies tell, less the seals that rotted by what is committed: where two
// differ as by rot, in a line that names a manifest, and of the two manifests one is on either
// copy and the other is not. Only where seals differ so is anything read.
func proved(ctx context.Context, copies []Copy, told []seal.Told) []seal.Told {
	all := slices.Clone(told)
	for i, a := range told {
		for j, b := range told[:i] {
			if a.Seal == nil || b.Seal == nil || !a.Seal.Rotted(b.Seal) {
				continue
			}
			both := []Copy{copies[i], copies[j]}
			as, bs := a.Seal.Lines(), b.Seal.Lines()
			for n := range min(len(as), len(bs)) {
				if as[n] == bs[n] {
					continue
				}
				is, other := committed(ctx, both, as[n]), committed(ctx, both, bs[n])
				if is && !other {
					all[j].Seal = nil
				} else if other && !is {
					all[i].Seal = nil
				}
			}
		}
	}
	return all
}

// committed reports whether a copy has committed what a line names.
func committed(ctx context.Context, copies []Copy, l seal.Line) bool {
	_, slug, err := manifest.ParseObjectID(l.Object)
	return err == nil && l.Version > 0 && slices.ContainsFunc(copies, func(c Copy) bool {
		b, _, err := store.Committed(ctx, c.Root, slug, l.Version)
		return err == nil && manifest.Sum(b) == l.Inventory
	})
}
