package authority

import (
	"fmt"

	"linecamp/manifest"
	"linecamp/manifest/seal"
)

// Log is the seal as one moment of a round sees it. It is replaced, never
// changed, when a line is added, so that a copy may still be writing the old
// one while the author goes on.
type Log struct {
	Seal  *seal.Seal
	Lines []seal.Line
	Index map[string][]manifest.Digest // slug → digest of each sealed version's inventory
}

// NewLog takes a seal apart. A line of another archive is an error.
func NewLog(archive string, s *seal.Seal) (*Log, error) {
	l := &Log{Seal: s, Lines: s.Lines(), Index: map[string][]manifest.Digest{}}
	for _, line := range l.Lines {
		if line.What != seal.Version {
			continue
		}
		name, slug, err := manifest.ParseObjectID(line.Object)
		if err != nil {
			return nil, err
		}
		if name != archive {
			return nil, fmt.Errorf("the seal names %s, which is of another archive", line.Object)
		}
		if line.Version != len(l.Index[slug])+1 {
			return nil, fmt.Errorf("the seal names version %d of %s after version %d", line.Version, slug, len(l.Index[slug]))
		}
		l.Index[slug] = append(l.Index[slug], line.Inventory)
	}
	return l, nil
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
	longer := &Log{Seal: log, Lines: append(l.Lines, line), Index: l.Index}
	if line.What == seal.Version {
		_, slug, err := manifest.ParseObjectID(line.Object)
		if err != nil {
			return nil, err
		}
		longer.Index = make(map[string][]manifest.Digest, len(l.Index)+1)
		for s, d := range l.Index {
			longer.Index[s] = d
		}
		longer.Index[slug] = append(l.Index[slug][:len(l.Index[slug]):len(l.Index[slug])], line.Inventory)
	}
	return longer, nil
}
