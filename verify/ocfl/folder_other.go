//go:build !unix

package ocfl

import (
	"io/fs"
	"os"
)

const openFlags = os.O_RDONLY

// hardLink is not known here without opening each file.
func hardLink(fs.FileInfo) string { return "" }
