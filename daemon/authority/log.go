package authority

import (
	"fmt"
	"maps"
	"slices"

	"linecamp/manifest"
	"linecamp/manifest/seal"
)

// Log is the seal as one moment of a round sees it. It is replaced, never
// changed, when a line is added, so that a copy may still be writing the old
// one while the author goes on.
type Log struct {
	Seal    *seal.Seal
	Lines   []seal.Line
	Index   map[string][]manifest.Digest        // slug → digest of the inventory of each version that counts
	dropped map[string]map[manifest.Digest]bool // slug → those of versions that counted once
	closed  map[string]seal.Line                // by slug that is not gone on with
}

// NewLog takes a seal apart. A line of another archive is an error.
func NewLog(archive string, s *seal.Seal) (*Log, error) {
	l := &Log{Seal: s, Lines: s.Lines(), Index: map[string][]manifest.Digest{}, dropped: map[string]map[manifest.Digest]bool{}, closed: map[string]seal.Line{}}
	for _, line := range l.Lines {
		if line.Object == "" {
			continue
		}
		name, slug, err := manifest.ParseObjectID(line.Object)
		if err != nil {
			return nil, err
		}
		if name != archive {
			return nil, fmt.Errorf("the seal names %s, which is of another archive", line.Object)
		}
		if err := l.count(slug, line); err != nil {
			return nil, err
		}
	}
	return l, nil
}

// count takes a line about slug into the index, which the caller owns.
func (l *Log) count(slug string, line seal.Line) error {
	index := l.Index[slug]
	if line.Drops() && line.Version <= len(index) {
		if l.dropped[slug] == nil {
			l.dropped[slug] = map[manifest.Digest]bool{}
		}
		for _, d := range index[line.Version-1:] {
			l.dropped[slug][d] = true
		}
		index = slices.Clone(index[:line.Version-1])
	}
	switch line.What {
	case seal.Closed:
		l.closed[slug] = line
	case seal.Version:
		if line.Version != len(index)+1 {
			return fmt.Errorf("the seal names version %d of %s after version %d", line.Version, slug, len(index))
		}
		index = append(index[:len(index):len(index)], line.Inventory)
		delete(l.dropped[slug], line.Inventory)
	}
	if l.Index[slug] = index; len(index) == 0 {
		delete(l.Index, slug)
	}
	return nil
}

// Dropped reports whether a version of slug counted once, and does no more.
func (l *Log) Dropped(slug string, inventory manifest.Digest) bool { return l.dropped[slug][inventory] }

// Closed reports whether slug is not gone on with.
func (l *Log) Closed(slug string) bool { _, ok := l.closed[slug]; return ok }

// AllClosed are the lines that say which slugs are not gone on with.
func (l *Log) AllClosed() map[string]seal.Line { return l.closed }

// Counts reports whether a line about a version still stands.
func (l *Log) Counts(slug string, line seal.Line) bool {
	d, ok := l.Inventory(slug, line.Version)
	return ok && d == line.Inventory
}

// Head is the newest sealed version of slug, 0 for none.
func (l *Log) Head(slug string) int { return len(l.Index[slug]) }

// Inventory is the digest the seal names for version n of slug.
func (l *Log) Inventory(slug string, n int) (manifest.Digest, bool) {
	if n < 1 || n > len(l.Index[slug]) {
		return manifest.Digest{}, false
	}
	return l.Index[slug][n-1], true
}

// Agrees tells how many first versions of an object two logs have the same.
func (l *Log) Agrees(with *Log) func(slug string) int {
	return func(slug string) int {
		a, b := l.Index[slug], with.Index[slug]
		for n := range min(len(a), len(b)) {
			if a[n] != b[n] {
				return n
			}
		}
		return min(len(a), len(b))
	}
}

// Last is the newest line, a zero one where there is none.
func (l *Log) Last() seal.Line {
	if len(l.Lines) == 0 {
		return seal.Line{}
	}
	return l.Lines[len(l.Lines)-1]
}

// With is the log and one more line.
func (l *Log) With(line seal.Line) (*Log, error) {
	log := l.Seal.Clone()
	line.N = log.Len() + 1
	if err := log.Append(line); err != nil {
		return nil, err
	}
	longer := &Log{Seal: log, Lines: append(l.Lines, line), Index: l.Index, dropped: l.dropped, closed: l.closed}
	if line.Object == "" {
		return longer, nil
	}
	_, slug, err := manifest.ParseObjectID(line.Object)
	if err != nil {
		return nil, err
	}
	longer.Index = maps.Clone(l.Index)
	if line.Drops() {
		longer.closed, longer.dropped = maps.Clone(l.closed), maps.Clone(l.dropped)
		longer.dropped[slug] = maps.Clone(l.dropped[slug])
	} else if l.dropped[slug][line.Inventory] {
		longer.dropped = maps.Clone(l.dropped)
		longer.dropped[slug] = maps.Clone(l.dropped[slug])
	}
	return longer, longer.count(slug, line)
}
