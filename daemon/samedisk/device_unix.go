//go:build unix

package samedisk

import (
	"fmt"
	"os"
	"path/filepath"
	"syscall"

	"golang.org/x/sys/unix"
)

// Device names the disk that a folder is on, so that two partitions of one
// disk are one device. Where the system does not tell the disk, as with network
// shares and outside Linux, it is the file system.
func Device(folder string) (string, error) {
	info, err := os.Stat(folder)
	if err != nil {
		return "", err
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return "", fmt.Errorf("%s: the system names no device", folder)
	}
	number := fmt.Sprintf("%d:%d", unix.Major(uint64(st.Dev)), unix.Minor(uint64(st.Dev)))
	block, err := filepath.EvalSymlinks("/sys/dev/block/" + number)
	if err != nil {
		return "file system " + number, nil
	}
	for range 8 { // from an encrypted or joined volume down to what it is made of
		under, err := filepath.Glob(filepath.Join(block, "slaves", "*"))
		if err != nil || len(under) == 0 {
			break
		}
		if block, err = filepath.EvalSymlinks(under[0]); err != nil {
			return "file system " + number, nil
		}
	}
	if _, err := os.Stat(filepath.Join(block, "partition")); err == nil {
		block = filepath.Dir(block)
	}
	return "disk " + filepath.Base(block), nil
}
