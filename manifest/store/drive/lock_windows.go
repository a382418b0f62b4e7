package drive

import (
	"errors"
	"io/fs"
	"os"

	"golang.org/x/sys/windows"

	"linecamp/manifest/store"
)

// lockRoot takes the one lock of a root: LockFileEx on lockFile, which ends with
// the process that holds it.
func lockRoot(root *os.Root) (unlock func(), err error) {
	if err := root.MkdirAll(store.StagingFolder, 0o777); err != nil {
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
			return nil, store.ErrBusy
		}
		return nil, err
	}
	// The one who had it may have removed it between our opening and our locking:
	// then the lock is of a file that nobody else will find.
	mine, err := f.Stat()
	if err == nil {
		var there os.FileInfo
		if there, err = root.Lstat(lockFile); err == nil && !os.SameFile(mine, there) {
			err = store.ErrBusy
		}
	}
	if err != nil {
		f.Close()
		if errors.Is(err, fs.ErrNotExist) {
			err = store.ErrBusy
		}
		return nil, err
	}
	return func() {
		root.Remove(lockFile) // while it is locked: see above
		f.Close()
		root.Remove(store.StagingFolder)
	}, nil
}
