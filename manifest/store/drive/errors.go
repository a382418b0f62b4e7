package drive

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"syscall"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// fail says what went wrong on this drive, in a sentence that names it.
func (d *Drive) fail(doing, key string, err error) error {
	return driveError(d.path, doing, key, err)
}

func driveError(drive, doing, key string, err error) error {
	if err == nil || errors.Is(err, context.Canceled) || errors.Is(err, store.ErrDigest) {
		return err
	}
	if errors.Is(err, context.DeadlineExceeded) {
		return fault.Say(err, "%s did not answer in time (%s)", manifest.Printable(drive), doing)
	}
	var from store.ReadError
	if errors.As(err, &from) {
		return from.Err // the place the bytes came from, which says its own name
	}
	if key != "" {
		doing += " " + manifest.Printable(store.Clip(key))
	}
	drive = manifest.Printable(drive)
	cause := bare(err)
	switch {
	case isAny(err, full):
		return fault.Say(fault.Because(store.ErrFull, cause), "%s: no space left (%s). Free some, or use a larger drive; what was stored so far stays (%v)", drive, doing, cause)
	case isAny(err, readOnly):
		return fault.Say(fault.Because(store.ErrReadOnly, cause), "%s can only be read, not written to (%s). Check its write-protect switch, or mount it again (%v)", drive, doing, cause)
	case isAny(err, tooLarge):
		return fault.Say(fault.Because(store.ErrTooLarge, cause), "%s: its file system cannot hold a file this large (%s; %v)", drive, doing, cause)
	case isAny(err, away):
		return fault.Say(fault.Because(store.ErrNotHere, cause), "%s: the drive is no longer there (%s). Plug it in again (%v)", drive, doing, cause)
	case errors.Is(err, syscall.EIO):
		return fmt.Errorf("%s: the drive failed while %s. It may be wearing out, or was unplugged: %w", drive, doing, cause)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%s: %s is not allowed. Check who owns the folder: %w", drive, doing, cause)
	}
	return fmt.Errorf("%s: %s: %w", drive, doing, cause)
}

// What a system calls each trouble; see also errors_windows.go.
var (
	full     = []error{syscall.ENOSPC, syscall.EDQUOT}
	readOnly = []error{syscall.EROFS}
	tooLarge = []error{syscall.EFBIG}
	away     = []error{syscall.ENXIO, syscall.ENODEV, syscall.ENOTCONN, syscall.ESTALE}
)

func isAny(err error, list []error) bool {
	for _, e := range list {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}

// bare drops the path and system call from an error, which the sentence around
// it says better.
func bare(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}
