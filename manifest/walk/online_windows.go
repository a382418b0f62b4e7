package walk

import (
	"io/fs"
	"syscall"
)

// OnlineOnly reports whether reading the file would download it.
func OnlineOnly(info fs.FileInfo) bool {
	a, ok := info.Sys().(*syscall.Win32FileAttributeData)
	return ok && !info.IsDir() && onlineOnly(a.FileAttributes)
}
