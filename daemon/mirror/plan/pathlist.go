package plan

import (
	"iter"

	"linecamp/manifest/packed"
)

// pathList is a list of logical paths, packed: each says how many bytes it shares
// with the one before. In a first round every path of the archive is in one, and
// neighbors share most of theirs.
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
	w := packed.Writer{B: p.b}
	w.Path(p.last, path)
	p.b = w.B
	p.n++
	p.last = path
}

// fit gives back the room that adding left over.
func (p *pathList) fit() { p.b, p.last = append(make([]byte, 0, len(p.b)), p.b...), "" }

func (p *pathList) len() int { return p.n }

func (p *pathList) All() iter.Seq[string] {
	return func(yield func(string) bool) {
		last := ""
		for r := packed.Of(string(p.b)); r.Left() > 0; {
			last = r.Path(last)
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
