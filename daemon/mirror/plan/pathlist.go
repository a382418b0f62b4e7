package plan

import (
	"encoding/binary"
	"iter"
)

// pathList is a list of logical paths, packed: each says how many bytes it shares
// with the one before. In a first round every path of the archive is in one, and
// neighbours share most of theirs.
type pathList struct {
	b    []byte
	n    int
	last string
}

func packPaths(list []string) pathList {
	var p pathList
	for _, path := range list {
		p.add(path)
	}
	p.fit()
	return p
}

func (p *pathList) add(path string) {
	n := 0
	for n < len(path) && n < len(p.last) && path[n] == p.last[n] {
		n++
	}
	p.b = binary.AppendUvarint(p.b, uint64(n))
	p.b = binary.AppendUvarint(p.b, uint64(len(path)-n))
	p.b = append(p.b, path[n:]...)
	p.n++
	p.last = path
}

// fit gives back the room that adding left over.
func (p *pathList) fit() { p.b, p.last = append(make([]byte, 0, len(p.b)), p.b...), "" }

func (p *pathList) len() int { return p.n }

func (p *pathList) All() iter.Seq[string] {
	return func(yield func(string) bool) {
		last := ""
		for b := p.b; len(b) > 0; {
			same, n := binary.Uvarint(b)
			b = b[n:]
			more, n := binary.Uvarint(b)
			b = b[n:]
			last = last[:same] + string(b[:more])
			b = b[more:]
			if !yield(last) {
				return
			}
		}
	}
}

func (p *pathList) list() []string {
	list := make([]string, 0, p.n)
	for path := range p.All() {
		list = append(list, path)
	}
	return list
}
