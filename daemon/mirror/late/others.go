package late

import (
	"slices"
	"sync"

	"linecamp/daemon/authority"
	"linecamp/manifest"
	"linecamp/manifest/seal"
)

// Others are the logs of other histories that copies in reach were found to keep.
// Set Notes first.
type Others struct {
	Notes authority.Notes
	Logs  []Other
	named map[manifest.Digest]bool // the manifests that they name

	mu      sync.Mutex
	shelves map[string]*shelf // by the copy's id
}

// Other is one log of another history.
type Other struct {
	*seal.Seal
	Met string // the copy where it was found
}

// Named reports whether a line of the archive's log names it.
func (o Other) Named(log *authority.Log) bool {
	return slices.ContainsFunc(log.Lines, func(l seal.Line) bool { return l.What == seal.Late && l.Log == o.Digest() })
}

// Unnamed reports whether a log was met that the archive's does not name yet.
func (o *Others) Unnamed(log *authority.Log) bool {
	return slices.ContainsFunc(o.Logs, func(l Other) bool { return !l.Named(log) })
}

// Add takes in a log that was met on a copy.
func (o *Others) Add(log *seal.Seal, met string) {
	if log.Len() == 0 || slices.ContainsFunc(o.Logs, func(l Other) bool { return l.Digest() == log.Digest() }) {
		return
	}
	if o.named == nil {
		o.named = map[manifest.Digest]bool{}
	}
	o.Logs = append(o.Logs, Other{log, met})
	for l := range log.All() {
		if !l.Inventory.IsZero() {
			o.named[l.Inventory] = true
		}
	}
}

// Known is up to which version a chain is believed: as far as a log names it, and one
// beyond, whose round ended before it could add the line.
func (o *Others) Known(log *authority.Log, slug string, chain *manifest.Inventory, from int) int {
	n := from - 1
	for n < chain.Head() {
		d := manifest.Sum(chain.Until(n + 1).Encode())
		if !o.named[d] && !log.Dropped(slug, d) {
			return n + 1
		}
		n++
	}
	return n
}
