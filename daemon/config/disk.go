package config

import (
	"os"
	"path/filepath"
)

// disk compares folders by where they truly are. Each path is looked at once,
// however many others it is held against.
type disk struct {
	spots  map[string]spot
	looked int // calls of the system
}

// spot is a path with links followed as far as it exists, and what stands there
// and above, nearest first.
type spot struct {
	path  string
	is    os.FileInfo // nil where nothing is there
	above []os.FileInfo
}

func (d *disk) at(path string) spot {
	if s, ok := d.spots[path]; ok {
		return s
	}
	s := spot{path: d.resolve(path)}
	for at := s.path; ; {
		d.looked++
		if is, err := os.Stat(at); err == nil {
			if at == s.path {
				s.is = is
			}
			s.above = append(s.above, is)
		}
		up := filepath.Dir(at)
		if up == at {
			break
		}
		at = up
	}
	if d.spots == nil {
		d.spots = map[string]spot{}
	}
	d.spots[path] = s
	return s
}

// resolve follows links in the part of a path that exists.
func (d *disk) resolve(path string) string {
	rest := ""
	for at := path; ; {
		d.looked++
		if real, err := filepath.EvalSymlinks(at); err == nil {
			return filepath.Join(real, rest)
		}
		up := filepath.Dir(at)
		if up == at {
			return path
		}
		rest = filepath.Join(filepath.Base(at), rest)
		at = up
	}
}

// inside reports whether path is folder or lies below it, links followed as
// far as the two exist. Parts of a path are compared, not letters: /srv/monitor
// is not inside /srv/mon.
func (d *disk) inside(path, folder string) bool {
	p, f := d.at(path), d.at(folder)
	if rel, err := filepath.Rel(f.path, p.path); err == nil && filepath.IsLocal(rel) {
		return true
	}
	// The same folder may have other names: other letter case on some file
	// systems, or mounted at two places.
	if f.is == nil {
		return false
	}
	for _, at := range p.above {
		if os.SameFile(at, f.is) {
			return true
		}
	}
	return false
}

// nested says in what way a copy's root and a working folder lie inside one
// another; "" if they do not.
func (d *disk) nested(root, folder string) string {
	if folder == "" {
		return ""
	}
	in, out := d.inside(root, folder), d.inside(folder, root)
	switch {
	case in && out:
		return "this copy is the working folder itself"
	case in:
		return "this copy lies inside the working folder"
	case out:
		return "the working folder lies inside this copy"
	}
	return ""
}
