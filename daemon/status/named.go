package status

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"slices"

	"linecamp/daemon/archive"
	"linecamp/daemon/ledger"
	"linecamp/daemon/mirror/late"
	"linecamp/daemon/mirror/short"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/verify"
)

const keyNamed = "files that manifests name"

// named tells what a copy holds: what this state noted of it, and of versions that it only
// knows to be there what their manifests name. A state that is new, or begun anew, noted
// next to nothing.
//
// To read every manifest for each look would take long. So the ledger remembers how many
// files each one names; an object of which as many are noted is not looked at further.
type named struct {
	a      *archive.Archive
	damage []verify.Damage
	was    namedCounts
	now    namedCounts
}

// namedCounts are good as long as the seal goes on from the lines they were counted at, and
// only versions came.
type namedCounts struct {
	Lines  int             `json:"lines"`
	Digest manifest.Digest `json:"digest"`
	Files  map[string]int  `json:"files"` // slug/vN → people's files that versions up to N have
}

func recallNamed(a *archive.Archive) (*named, error) {
	n := &named{a: a}
	err := a.Recall(keyNamed, &n.was)
	if err != nil {
		return nil, err
	}
	if n.damage, err = a.Ledger.Damage(); err != nil {
		return nil, err
	}
	n.now.Files = map[string]int{}
	log, err := a.Cache.Seal()
	if errors.Is(err, fs.ErrNotExist) {
		return n, nil
	}
	if err != nil {
		return nil, fmt.Errorf("the seal in the state folder: %w", err)
	}
	other := func(l seal.Line) bool { return l.What != seal.Version } // a number may be another version's now
	if n.was.Lines > log.Len() || log.DigestOf(n.was.Lines) != n.was.Digest || slices.ContainsFunc(log.Lines()[n.was.Lines:], other) {
		n.was = namedCounts{}
	}
	n.now.Lines, n.now.Digest = log.Len(), log.Digest()
	return n, nil
}

// remember is called after all copies were asked about.
func (n *named) remember() error {
	if n.now.Lines == n.was.Lines && maps.Equal(n.now.Files, n.was.Files) {
		return nil
	}
	return n.a.Remember(keyNamed, n.now)
}

// figures sums up what one copy holds.
func (n *named) figures(copyID string) (sum ledger.Figures, err error) {
	noted, err := n.a.Ledger.Figures(copyID)
	if err != nil {
		return sum, err
	}
	committed, err := n.a.Ledger.Committed(copyID)
	if err != nil {
		return sum, err
	}
	lacks, err := short.Of(n.a.Ledger, copyID)
	if err != nil {
		return sum, err
	}
	loose := late.Loose{CopyID: copyID, Notes: n.a.Ledger}
	if err := loose.Load(); err != nil {
		return sum, err
	}
	for slug, has := range committed {
		version := loose.Ours(slug, has)
		if version > has {
			continue // which of them are the archive's is still to be found out
		}
		if files, ok := n.files(slug, version); !ok || noted[slug].Files >= files {
			continue
		}
		held, err := n.a.Ledger.Held(copyID, slug)
		if err != nil {
			return sum, err
		}
		n.add(held, slug, version)
		for _, f := range lacks {
			if f.Object == slug {
				delete(held, f.Content)
			}
		}
		for _, d := range n.damage {
			if d.Copy == copyID && d.Object == slug && d.Kind == verify.Gone {
				delete(held, d.Content)
			}
		}
		noted[slug] = ledger.Sum(held)
	}
	for _, f := range noted {
		sum = sum.Plus(f)
	}
	return sum, nil
}

// files is how many of people's files the versions of an object up to one have; not ok
// where its manifest is not at hand.
func (n *named) files(slug string, version int) (files int, ok bool) {
	key := fmt.Sprintf("%s/v%d", slug, version)
	if files, ok = n.now.Files[key]; ok {
		return files, true
	}
	if files, ok = n.was.Files[key]; !ok {
		inv, err := n.a.Cache.Get(slug)
		if err != nil || inv.Head() < version {
			return 0, false
		}
		inv = inv.Until(version)
		each := inv.Files()
		for d, paths := range inv.Content {
			files += each[d] * len(paths)
		}
	}
	n.now.Files[key] = files
	return files, true
}

// add adds to what is noted of an object what its manifest names up to a version. How
// large a file is stands in the newest record, if at all.
func (n *named) add(held map[string]verify.Held, slug string, version int) {
	inv, err := n.a.Cache.Get(slug)
	if err != nil {
		return // it was counted before, and went from the state folder; the next round brings it
	}
	sizes := map[manifest.Digest]int64{}
	if _, rec, err := n.a.Cached(slug); err == nil {
		for logical, d := range inv.State(inv.Head()) {
			sizes[d] = rec.Paths[logical].Bytes
		}
	}
	until := inv.Until(version)
	for d, files := range until.Files() {
		for _, content := range until.Content[d] {
			h, noted := held[content]
			if !noted {
				h = verify.Held{Path: content, SHA256: d, Size: sizes[d]}
			}
			h.Files = max(h.Files, files)
			held[content] = h
		}
	}
}
