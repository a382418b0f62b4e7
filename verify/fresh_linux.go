package verify

import (
	"os"

	"golang.org/x/sys/unix"
)

// openFlags keep the opening of a special file from waiting for its other end.
const openFlags = os.O_RDONLY | unix.O_NONBLOCK

// forget asks the page cache to drop a file, so that a check reads the drive and
// leaves the cache to those who need it. The advice may be ignored.
func forget(f *os.File) { _ = unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED) }
