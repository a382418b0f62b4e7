//go:build unix

package walk

import (
	"io/fs"
	"os"
	"time"

	"golang.org/x/sys/unix"
)

// A handle is an open folder. Its files are looked at and opened relative to
// it, so that a folder replaced by a link while it is being read leads nowhere.
type handle struct {
	f  *os.File
	fd int
}

func openTop(path string) (*handle, error) { return openFolder(path, 0) }

func openBelow(path string) (*handle, error) { return openFolder(path, unix.O_NOFOLLOW) }

func openFolder(path string, flags int) (*handle, error) {
	f, err := os.OpenFile(path, os.O_RDONLY|unix.O_DIRECTORY|unix.O_NONBLOCK|flags, 0)
	if err != nil {
		return nil, err
	}
	return &handle{f, int(f.Fd())}, nil
}

func (h *handle) close() { h.f.Close() }

// list returns the names in the folder; with an error, those before it.
func (h *handle) list() ([]string, error) { return h.f.Readdirnames(-1) }

// self is the stat of the folder itself.
func (h *handle) self() (stat, error) {
	var st unix.Stat_t
	if err := retry(func() error { return unix.Fstat(h.fd, &st) }); err != nil {
		return stat{}, err
	}
	return toStat(&st), nil
}

// lstat looks at a name without following it.
func (h *handle) lstat(name string) (stat, error) {
	var st unix.Stat_t
	err := retry(func() error { return unix.Fstatat(h.fd, name, &st, unix.AT_SYMLINK_NOFOLLOW) })
	if err != nil {
		return stat{}, &fs.PathError{Op: "stat", Path: name, Err: err}
	}
	return toStat(&st), nil
}

// open opens a file for reading: never through a link, never waiting for the
// other end of a pipe that was put in its place.
func (h *handle) open(name string) (*os.File, error) {
	var fd int
	err := retry(func() (err error) {
		fd, err = unix.Openat(h.fd, name, unix.O_RDONLY|unix.O_NOFOLLOW|unix.O_NONBLOCK|unix.O_CLOEXEC|unix.O_NOCTTY, 0)
		return err
	})
	if err != nil {
		return nil, &fs.PathError{Op: "open", Path: name, Err: err}
	}
	return os.NewFile(uintptr(fd), name), nil
}

func statOf(f *os.File) (stat, error) {
	var st unix.Stat_t
	if err := retry(func() error { return unix.Fstat(int(f.Fd()), &st) }); err != nil {
		return stat{}, err
	}
	return toStat(&st), nil
}

func retry(f func() error) error {
	for {
		if err := f(); err != unix.EINTR {
			return err
		}
	}
}

func toStat(st *unix.Stat_t) stat {
	s := stat{size: st.Size, inode: uint64(st.Ino), device: uint64(st.Dev)}
	s.modified = time.Unix(st.Mtim.Unix())
	s.changed = time.Unix(st.Ctim.Unix())
	switch st.Mode & unix.S_IFMT {
	case unix.S_IFREG:
		s.what = regular
	case unix.S_IFDIR:
		s.what = directory
	case unix.S_IFLNK:
		s.what = link
	default:
		s.what = special
	}
	return s
}
