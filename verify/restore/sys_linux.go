package restore

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"os"

	"golang.org/x/sys/unix"

	"linecamp/manifest/store/fault"
	"linecamp/manifest/wholefile"
)

const openFlags = os.O_RDONLY | unix.O_NONBLOCK // a pipe in the way must not hold us up

var errQuota error = unix.EDQUOT

// syncAll makes everything written so far durable: one call in place of an
// fsync per file (syncfs(2) reports errors of writing back since Linux 5.8).
func syncAll(dir *os.File) error {
	return os.NewSyscallError("syncfs", unix.Syncfs(int(dir.Fd())))
}

// startWriting lets the system begin to write a file out while others are still
// being restored, so that little is left to do for syncAll. It is advice only.
func startWriting(f *os.File) {
	_ = unix.SyncFileRange(int(f.Fd()), 0, 0, unix.SYNC_FILE_RANGE_WRITE)
}

// pour copies so many bytes from one file to another within the system. It never has both
// share their blocks, as some file systems would on other calls: one bad block would then
// be in both.
func pour(ctx context.Context, dst, src *os.File, size int64) error {
	for size > 0 {
		if err := ctx.Err(); err != nil {
			return err
		}
		n, err := unix.Sendfile(int(dst.Fd()), int(src.Fd()), nil, int(min(size, 8<<20)))
		switch {
		case errors.Is(err, unix.EINTR), errors.Is(err, unix.EAGAIN):
		case err != nil:
			return os.NewSyscallError("sendfile", err)
		case n == 0:
			return io.ErrUnexpectedEOF
		}
		size -= int64(max(0, n))
	}
	return nil
}

// rename gives a file its name and fails with fs.ErrExist where one has it.
func rename(f *folder, from, to string) error {
	fd := int(f.dir.Fd())
	err := unix.Renameat2(fd, from, fd, to, unix.RENAME_NOREPLACE)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, unix.EEXIST):
		return fault.Say(fs.ErrExist, "%s: it is there already", to)
	case errors.Is(err, unix.EINVAL), errors.Is(err, unix.ENOSYS), errors.Is(err, unix.EOPNOTSUPP):
		return wholefile.Name(f.root, from, to)
	}
	return &os.LinkError{Op: "rename", Old: from, New: to, Err: err}
}
