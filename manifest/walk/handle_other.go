//go:build !unix

package walk

import (
	"io/fs"
	"os"
	"path/filepath"
)

// A handle is an open folder. Where the system cannot open files relative to a
// folder, a look at the opened file shows whether it is the one that was
// listed.
type handle struct {
	f    *os.File
	path string
}

func openTop(path string) (*handle, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	return &handle{f, path}, nil
}

func openBelow(path string) (*handle, error) { return openTop(path) }

func (h *handle) close() { h.f.Close() }

func (h *handle) list() ([]string, error) { return h.f.Readdirnames(-1) }

func (h *handle) self() (stat, error) { return statOf(h.f) }

func (h *handle) lstat(name string) (stat, error) {
	info, err := os.Lstat(filepath.Join(h.path, name))
	if err != nil {
		return stat{}, err
	}
	return toStat(info), nil
}

func (h *handle) open(name string) (*os.File, error) {
	return os.Open(filepath.Join(h.path, name))
}

func statOf(f *os.File) (stat, error) {
	info, err := f.Stat()
	if err != nil {
		return stat{}, err
	}
	return toStat(info), nil
}

func toStat(info fs.FileInfo) stat {
	s := stat{size: info.Size(), modified: info.ModTime(), what: special, online: OnlineOnly(info)}
	switch m := info.Mode(); {
	case m.IsRegular(), s.online && m&(fs.ModeDir|fs.ModeSymlink) == 0: // one that is only online may be called irregular
		s.what = regular
	case m.IsDir():
		s.what = directory
	case m&fs.ModeSymlink != 0:
		s.what = link
	}
	return s
}
