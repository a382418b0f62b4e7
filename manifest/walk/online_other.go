//go:build !windows

package walk

import "io/fs"

// OnlineOnly reports whether reading the file would download it. Only Windows says so.
func OnlineOnly(fs.FileInfo) bool { return false }
