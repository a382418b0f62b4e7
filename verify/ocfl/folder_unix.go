//go:build unix

package ocfl

import (
	"fmt"
	"io/fs"
	"os"
	"syscall"
)

// openFlags keep a link that took a file's place from being followed, and the
// opening of a pipe from waiting for its other end.
const openFlags = os.O_RDONLY | syscall.O_NOFOLLOW | syscall.O_NONBLOCK

// hardLink identifies a file that has more than one name.
func hardLink(info fs.FileInfo) string {
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok || st.Nlink < 2 {
		return ""
	}
	return fmt.Sprintf("%d:%d", st.Dev, st.Ino)
}
