//go:build unix

package within

import (
	"fmt"
	"os"
	"syscall"
)

func folded(path string) string { return path }

// identity is the same for one folder under any name.
func identity(is os.FileInfo) string {
	if s, ok := is.Sys().(*syscall.Stat_t); ok {
		return fmt.Sprintf("inode %d %d", s.Dev, s.Ino)
	}
	return ""
}
