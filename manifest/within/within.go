// Package within is the one rule for whether one place lies in another. Call
// [Path] for the slash-separated paths and keys of an archive, [Local] before one of
// them from outside is believed, and [Folder] for folders and files of this machine.
package within

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// Path reports whether a path is folder or lies below it. Everything lies in "".
func Path(path, folder string) bool { return path == folder || Below(path, folder) }

// Below reports whether a path lies in the folder or deeper. Elements are compared,
// not letters: monitor/a does not lie in mon. Everything lies below "".
func Below(path, folder string) bool {
	return folder == "" || len(path) > len(folder) && path[len(folder)] == '/' && strings.HasPrefix(path, folder)
}

// Local reports whether a path stays in the folder that it is taken from, whatever
// the system, and names something there. Its names need not be UTF-8.
func Local(path string) bool {
	shape := strings.Map(func(c rune) rune {
		if c >= 0x80 {
			return 'x'
		}
		return c
	}, path)
	return fs.ValidPath(shape) && path != "." && strings.IndexByte(path, 0) < 0
}

// Place is a folder or file of this machine as it was when it was looked at.
type Place struct {
	Path  string        // absolute, with links followed as far as it exists
	is    os.FileInfo   // nil where nothing is there
	above []os.FileInfo // it and the folders it lies in, nearest first
}

// At looks at a place, which need not be there yet.
func At(path string) Place {
	p := Place{Path: Resolve(path)}
	for at := p.Path; ; at = filepath.Dir(at) {
		if is, err := os.Stat(at); err == nil {
			if at == p.Path {
				p.is = is
			}
			p.above = append(p.above, is)
		}
		if at == filepath.Dir(at) {
			return p
		}
	}
}

// In reports whether the place is folder or lies below it. The same folder may have
// other names: other letter case on some file systems, or mounted at two places.
func (p Place) In(folder Place) bool {
	if rel, err := filepath.Rel(folder.Path, p.Path); err == nil && filepath.IsLocal(rel) {
		return true
	}
	for _, at := range p.above {
		if folder.is != nil && os.SameFile(at, folder.is) {
			return true
		}
	}
	return false
}

// Folder reports whether a place is folder or lies below it.
func Folder(place, folder string) bool { return At(place).In(At(folder)) }

// Resolve is an absolute path with the links followed in the part of it that exists.
func Resolve(path string) string {
	if abs, err := filepath.Abs(path); err == nil {
		path = abs
	}
	for at, rest := path, ""; ; {
		if real, err := filepath.EvalSymlinks(at); err == nil {
			return filepath.Join(real, rest)
		}
		up := filepath.Dir(at)
		if up == at {
			return path
		}
		at, rest = up, filepath.Join(filepath.Base(at), rest)
	}
}
