//go:build !linux

package drive

import (
	"io"
	"os"
)

const openFlags = os.O_RDONLY

// openFresh is an ordinary read where the system offers no advice on its page
// cache.
func openFresh(f *os.File) io.ReadCloser { return f }
