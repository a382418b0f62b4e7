package store

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// A folder cannot be locked on Windows; this file in staging stands in for it
// while a round runs.
const lockFile = stagingFolder + "/lock"

// lockRoot takes the one lock of a root: LockFileEx, which ends with the
// process that holds it.
func lockRoot(root *os.Root) (unlock func(), err error) {
	if err := root.MkdirAll(stagingFolder, 0o777); err != nil {
		return nil, err
	}
	f, err := root.OpenFile(lockFile, os.O_RDWR|os.O_CREATE, 0o666)
	if err != nil {
		return nil, err
	}
	const flags = windows.LOCKFILE_EXCLUSIVE_LOCK | windows.LOCKFILE_FAIL_IMMEDIATELY
	err = windows.LockFileEx(windows.Handle(f.Fd()), flags, 0, 1, 0, new(windows.Overlapped))
	if err != nil {
		f.Close()
		if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
			return nil, ErrBusy
		}
		return nil, err
	}
	return func() {
		f.Close()
		root.Remove(lockFile)
		root.Remove(stagingFolder)
	}, nil
}
