package late

import (
	"context"
	"slices"

	"linecamp/daemon/authority"
	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

// Others are the logs of other histories that copies in reach were found to keep.
type Others struct {
	Logs  []Other
	named map[manifest.Digest]bool // the manifests that they name
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

// Read takes in the logs of other histories that a copy keeps beside its own; ours is
// the archive's. One that differs as by rot is what a mend replaced, and no history.
func (o *Others) Read(ctx context.Context, from authority.Copy, ours *seal.Seal) error {
	for log, err := range store.LateLogs(ctx, from.Root) {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err == nil && !ours.Extends(log) && !(log.Rotted(ours) && log.Len() <= ours.Len()) {
			o.Add(log, from.Name)
		}
	}
	return nil
}

// Find is the log of that digest, from any copy but the one given by its id; nil for none.
func (o *Others) Find(ctx context.Context, copies []authority.Copy, not string, d manifest.Digest) (*seal.Seal, error) {
	for _, log := range o.Logs {
		if log.Digest() == d {
			return log.Seal, nil
		}
	}
	for _, c := range copies {
		if c.ID == not || !c.CanRead() {
			continue
		}
		for log, err := range store.LateLogs(ctx, c.Root) {
			if ctx.Err() != nil {
				return nil, ctx.Err()
			}
			if err == nil && log.Digest() == d {
				return log, nil
			}
		}
	}
	return nil, nil
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
