package making

import (
	"fmt"
	"time"

	"linecamp/daemon/mirror/late"
	"linecamp/daemon/mirror/source"
	"linecamp/manifest"
	"linecamp/manifest/words"
)

// Brought is a late version as [What]: one that brings what another history recorded.
// It is the same however often it is drafted, since nothing of it lies in the folder.
type Brought struct {
	late.Version
	User    manifest.User
	Created time.Time
	Came    string // with which copy, and who made it there
	// Bytes are where a digest of the late version can be read.
	Bytes func(manifest.Digest) []source.Source
}

// Next is the version. Bytes that nobody has any more it is committed without.
func (w *Brought) Next(map[string]bool) (manifest.Next, map[manifest.Digest][]string, bool) {
	n := 0
	for _, paths := range w.Fresh {
		n += len(paths)
	}
	message := fmt.Sprintf("%s: %s", w.Came, words.Count(n, "file", "files"))
	return manifest.Next{Created: w.Created, User: w.User, Message: message, State: w.State, Record: w.Record, Keep: w.Keep}, nil, true
}

// From is wherever the late version may be.
func (w *Brought) From(d manifest.Digest, _ []string) []source.Source { return w.Bytes(d) }

// Name is the path as the record has it.
func (w *Brought) Name(logical string) string {
	return manifest.RawPath(w.Record.Base, logical, w.Record.Paths[logical])
}
