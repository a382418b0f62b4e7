package store

import (
	"io"
	"os"

	"golang.org/x/sys/unix"
)

// dropEvery is how much a fresh reader reads before it lets the page cache
// forget it again.
const dropEvery = 8 << 20

// openFlags keep the opening of a special file from waiting for its other end.
const openFlags = os.O_RDONLY | unix.O_NONBLOCK

// fresh reads a file from the drive itself: what the page cache holds of it is
// dropped first, and what was read is dropped behind, so that checking a whole
// copy neither believes the cache nor fills it.
type fresh struct {
	f       *os.File
	at      int64
	dropped int64
}

func openFresh(f *os.File) io.ReadCloser {
	fd := int(f.Fd())
	// Advice may be ignored; there is nothing to do about it.
	_ = unix.Fadvise(fd, 0, 0, unix.FADV_DONTNEED)
	_ = unix.Fadvise(fd, 0, 0, unix.FADV_SEQUENTIAL)
	return &fresh{f: f}
}

func (r *fresh) Read(p []byte) (int, error) {
	n, err := r.f.Read(p)
	r.at += int64(n)
	if r.at-r.dropped >= dropEvery {
		r.drop()
	}
	return n, err
}

func (r *fresh) drop() {
	_ = unix.Fadvise(int(r.f.Fd()), r.dropped, r.at-r.dropped, unix.FADV_DONTNEED)
	r.dropped = r.at
}

func (r *fresh) Close() error {
	_ = unix.Fadvise(int(r.f.Fd()), 0, 0, unix.FADV_DONTNEED)
	return r.f.Close()
}
