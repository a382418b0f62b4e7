package late

import (
	"bytes"
	"maps"
	"slices"
	"sync"

	"linecamp/daemon/authority"
	"linecamp/manifest"
	"linecamp/manifest/seal"
)

// Notes are the ledger's single values, and what damage is on record in it.
type Notes interface {
	authority.Notes
	DropDamage(copyID, object string, content []string) error
}

// Others are the logs of other histories that copies in reach were found to keep.
// Set Notes and Tell first.
type Others struct {
	Notes Notes
	Tell  func(string) // a person; the same may be told several times
	Logs  []Other
	named map[manifest.Digest]bool // the manifests that they name

	mu      sync.Mutex
	shelves map[string]*shelf // by the copy's id
}

// Other is one log of another history, or what there was of one that did not read.
type Other struct {
	Text   []byte
	Digest manifest.Digest
	Met    string // the copy where it was found
}

// Lines is how many it has, the last one with its end or without.
func (o Other) Lines() int {
	return bytes.Count(bytes.TrimSuffix(o.Text, []byte("\n")), []byte("\n")) + 1
}

// Named reports whether a line of the archive's log names it.
func (o Other) Named(log *authority.Log) bool {
	return slices.ContainsFunc(log.Lines, func(l seal.Line) bool { return l.What == seal.Late && l.Log == o.Digest })
}

// Unnamed reports whether a log was met that the archive's does not name yet.
func (o *Others) Unnamed(log *authority.Log) bool {
	return slices.ContainsFunc(o.Logs, func(l Other) bool { return !l.Named(log) })
}

// Add takes in a log that was met on a copy.
func (o *Others) Add(log *seal.Seal, met string) {
	o.add(log.Text(0, log.Len()), met)
}

func (o *Others) add(text []byte, met string) {
	d := manifest.Sum(text)
	if len(text) == 0 || slices.ContainsFunc(o.Logs, func(l Other) bool { return l.Digest == d }) {
		return
	}
	if o.named == nil {
		o.named = map[manifest.Digest]bool{}
	}
	o.Logs = append(o.Logs, Other{text, d, met})
	maps.Copy(o.named, seal.Digests(text))
}

// Names reports whether a log that was met names a manifest.
func (o *Others) Names(d manifest.Digest) bool { return o.named[d] }

// Known is up to which version a chain is believed: as far as a log names it, and one
// beyond, whose round ended before it could add the line. A manifest tells of all versions
// before it, so none of these needs a line that reads.
func (o *Others) Known(log *authority.Log, slug string, chain *manifest.Inventory, from int) int {
	for n := chain.Head(); n >= from; n-- {
		if d := manifest.Sum(chain.Until(n).Encode()); o.named[d] || log.Dropped(slug, d) {
			return min(n+1, chain.Head())
		}
	}
	return min(from, chain.Head())
}
