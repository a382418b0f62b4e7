//go:build unix

package restore

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// lockFolder keeps a second restore out of the folder, which would take the
// temporary files of the first for leftovers. It ends with the open file, so a
// crash leaves nothing behind. Where a file system has no locks, it goes on.
func lockFolder(dir *os.File) error {
	err := unix.Flock(int(dir.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		return errors.New("another restore is writing there; wait for it to end")
	}
	return nil
}
