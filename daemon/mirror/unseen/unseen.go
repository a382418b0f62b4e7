// Package unseen tells apart what left the working folder and what never was in
// it. Call [Open] before a plan is made, [Book.Compare] with each site, and
// [Book.Keep] before anything of the plan is recorded.
//
// A file that a version names and that the folder does not show was deleted there
// only if this computer had it there. Versions come from elsewhere too: a copy that
// was away when this computer was set up brings some, another computer made others
// while this one looked on, a state put back from a backup forgot its own. So each
// line of the seal that this state did not write itself is accounted for once:
// every path that it brought and that the folder does not show with those bytes is
// noted in the ledger. Such a path goes on in every later version, until the
// folder shows it or the record has other bytes there.
//
// A state that is new or was lost has accounted for nothing, so that nothing which
// is absent counts as deleted. One that an earlier program left goes on as it was.
package unseen

import (
	"maps"
	"strings"

	"linecamp/daemon/authority"
	"linecamp/daemon/ledger"
	"linecamp/daemon/mirror/sites"
	"linecamp/manifest"
	"linecamp/manifest/seal"
)

// Book is what is noted, and what a round makes of it.
type Book struct {
	ledger *ledger.Ledger
	log    *authority.Log
	lines  int // that were accounted for
	kept   map[string]ledger.Unseen
	since  map[string]int                        // object → the last version accounted for, where the seal has newer ones
	now    map[string]map[string]manifest.Digest // of each object that was compared
}

// Open reads what is noted, and what of the seal is still to be accounted for.
func Open(l *ledger.Ledger, log *authority.Log) (*Book, error) {
	b := &Book{ledger: l, log: log, since: map[string]int{}, now: map[string]map[string]manifest.Digest{}}
	lines, sum, _, err := l.Accounted()
	if err != nil {
		return nil, err
	}
	if b.kept, err = l.Unseen(); err != nil {
		return nil, err
	}
	if lines > len(log.Lines) || log.Seal.DigestOf(lines) != sum {
		lines = 0 // another seal, or none
	}
	b.lines = lines
	for _, line := range log.Lines[lines:] {
		if line.What != seal.Version {
			continue
		}
		_, slug, err := manifest.ParseObjectID(line.Object)
		if err != nil {
			return nil, err
		}
		if n, ok := b.since[slug]; !ok || line.Version-1 < n {
			b.since[slug] = line.Version - 1
		}
	}
	return b, nil
}

// Compare returns what of the object's newest state the folder never had; the
// group is loaded.
func (b *Book) Compare(o *sites.Object, g *sites.Group) map[string]manifest.Digest {
	row := b.kept[o.Slug]
	since, open := b.since[o.Slug]
	if row.Open && (!open || row.Since < since) {
		since, open = row.Since, true
	}
	if !open && len(row.Paths) == 0 {
		return nil
	}
	before := o.Inv.State(min(since, o.Head()))
	never := map[string]manifest.Digest{}
	for logical, d := range o.Inv.State(o.Head()) {
		if strings.HasPrefix(logical, ".linecamp/") {
			continue
		}
		noted, is := row.Paths[logical]
		was, had := before[logical]
		if !(is && noted == d) && !(open && !(had && was == d)) {
			continue
		}
		if f, shown := g.Files[logical]; !shown || f.SHA256 != d {
			never[logical] = d
		}
	}
	dropTaken(never, g)
	b.now[o.Slug] = never
	return never
}

// dropTaken takes out paths that cannot stand beside what the folder shows: one is a
// folder there now, or lies below what is a file. They went, whoever had them.
func dropTaken(never map[string]manifest.Digest, g *sites.Group) {
	if len(never) == 0 {
		return
	}
	for logical := range g.Files {
		for i := range len(logical) {
			if logical[i] == '/' {
				delete(never, logical[:i])
			}
		}
	}
	maps.DeleteFunc(never, func(logical string, _ manifest.Digest) bool {
		for i := range len(logical) {
			if _, file := g.Files[logical[:i]]; logical[i] == '/' && file {
				return true
			}
		}
		return false
	})
}

// Any reports whether a site that was compared has something the folder never had.
func (b *Book) Any() bool {
	for _, never := range b.now {
		if len(never) > 0 {
			return true
		}
	}
	return false
}

// Never is what Compare returned, less what was moved.
func (b *Book) Never(slug string) map[string]manifest.Digest { return b.now[slug] }

// Also enters a path under which what the folder never had is to go on.
func (b *Book) Also(slug, logical string, d manifest.Digest) { b.now[slug][logical] = d }

// Moved takes a path out: its bytes are in the folder under another name.
func (b *Book) Moved(slug, logical string) { delete(b.now[slug], logical) }

// Keep notes all that in the ledger, and has it on storage when it returns. What
// was not compared stays open.
func (b *Book) Keep() error {
	changed := map[string]ledger.Unseen{}
	for slug, row := range b.kept {
		if b.log.Head(slug) == 0 {
			changed[slug] = ledger.Unseen{}
		} else if never, ok := b.now[slug]; ok && (row.Open || !maps.Equal(never, row.Paths)) {
			changed[slug] = ledger.Unseen{Paths: never}
		}
	}
	for slug, never := range b.now {
		if _, noted := b.kept[slug]; !noted && len(never) > 0 {
			changed[slug] = ledger.Unseen{Paths: never}
		}
	}
	for slug, since := range b.since {
		if _, compared := b.now[slug]; compared || b.log.Head(slug) == 0 {
			continue
		}
		row := b.kept[slug]
		if row.Open {
			since = min(since, row.Since)
		}
		row.Open, row.Since = true, since
		changed[slug] = row
	}
	if len(changed) == 0 && b.lines == len(b.log.Lines) {
		return nil
	}
	if err := b.ledger.AccountFor(len(b.log.Lines), b.log.Seal.Digest(), changed); err != nil {
		return err
	}
	return b.ledger.Sync()
}

// Own accounts for the newest line of the seal, which this computer wrote for what
// its folder showed. Where lines before it are open, so is this one.
func Own(l *ledger.Ledger, log *authority.Log) error {
	lines, _, _, err := l.Accounted()
	if err != nil || lines != len(log.Lines)-1 {
		return err
	}
	return l.AccountFor(len(log.Lines), log.Seal.Digest(), nil)
}

// Earlier has the seal in the state folder count as accounted for, where an earlier
// program left the ledger. It comes before anything is taken from a copy.
func Earlier(l *ledger.Ledger, local *seal.Seal) error {
	_, _, all, err := l.Accounted()
	if err != nil || !all {
		return err
	}
	return l.AccountFor(local.Len(), local.Digest(), nil)
}
