package mounttest

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// Hang mounts a file system at a folder that answers nothing, as a network drive
// does whose server is gone: whoever looks into it waits until end is called.
// It is a FUSE mount (Linux, Documentation/filesystems/fuse) of a program that
// never reads a request; closing its device gives every request up.
func Hang(dir string) (end func() error, err error) {
	device, err := os.OpenFile("/dev/fuse", os.O_RDWR, 0)
	if err != nil {
		return nil, err
	}
	options := fmt.Sprintf("fd=%d,rootmode=40000,user_id=0,group_id=0", device.Fd())
	if err := unix.Mount("hanging", dir, "fuse", unix.MS_NOSUID|unix.MS_NODEV, options); err != nil {
		device.Close()
		return nil, os.NewSyscallError("mount", err)
	}
	return func() error {
		return errors.Join(device.Close(), os.NewSyscallError("umount", unix.Unmount(dir, unix.MNT_DETACH)))
	}, nil
}
