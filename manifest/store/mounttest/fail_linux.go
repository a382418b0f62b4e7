package mounttest

import (
	"errors"
	"os"
	"unsafe"

	"golang.org/x/sys/unix"
)

// ErrNoFail: this file system cannot be made to fail on purpose.
var ErrNoFail = errors.New("it cannot be made to fail")

// Fail makes the mounted file system fail from now on, as if the drive had been
// pulled out: every read and write ends in an I/O error, and what was not
// synced is lost. It can be unmounted and mounted again. ext4 and XFS only:
// EXT4_IOC_SHUTDOWN and XFS_IOC_GOINGDOWN, of fs/ext4/ext4.h and xfs_fs.h of
// Linux, are the same request, and 2 of their flags leaves the journal unwritten.
func (d *Disk) Fail() error {
	if d.kind.Name != "ext4" && d.kind.Name != "xfs" {
		return ErrNoFail
	}
	f, err := os.Open(d.dir)
	if err != nil {
		return err
	}
	defer f.Close()
	const shutdown, noLogFlush = 0x8004587d, uint32(2) // _IOR('X', 125, __u32)
	flags := noLogFlush
	if _, _, errno := unix.Syscall(unix.SYS_IOCTL, f.Fd(), shutdown, uintptr(unsafe.Pointer(&flags))); errno != 0 {
		return os.NewSyscallError("ioctl", errno)
	}
	return nil
}
