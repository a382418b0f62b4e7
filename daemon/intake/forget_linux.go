package intake

import (
	"os"

	"golang.org/x/sys/unix"
)

// forget asks the page cache to drop a file, so that reading it back reads the
// disk. The advice may be ignored.
func forget(f *os.File) { _ = unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED) }
