//go:build unix && !linux

package intake

import (
	"fmt"
	"os"
	"syscall"
)

// Device names the file system that a folder is on.
func Device(folder string) (string, error) {
	info, err := os.Stat(folder)
	if err != nil {
		return "", err
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return "", fmt.Errorf("%s: the system names no device", folder)
	}
	return fmt.Sprintf("file system %d", st.Dev), nil
}
