package rot

import (
	"os"

	"golang.org/x/sys/unix"
)

// forget asks the page cache to drop a file, so that a check reads the drive and
// leaves the cache to those who need it. The advice may be ignored.
func forget(f *os.File) { _ = unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED) }
