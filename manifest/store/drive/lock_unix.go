//go:build unix

package drive

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"

	"linecamp/manifest/store"
)

// lockRoot takes the one lock of a root: flock(2) on the folder itself, which
// leaves nothing on the drive and ends with the process that holds it.
func lockRoot(root *os.Root) (unlock func(), err error) {
	dir, err := root.Open(".")
	if err != nil {
		return nil, err
	}
	for {
		err = unix.Flock(int(dir.Fd()), unix.LOCK_EX|unix.LOCK_NB)
		if err != unix.EINTR {
			break
		}
	}
	if err != nil {
		dir.Close()
		if errors.Is(err, unix.EWOULDBLOCK) {
			return nil, store.ErrBusy
		}
		return nil, os.NewSyscallError("flock", err)
	}
	return func() { dir.Close() }, nil
}
