//go:build unix

package intake

import (
	"os"

	"golang.org/x/sys/unix"
)

// openFlags keep the opening of a pipe from waiting for its other end.
const openFlags = os.O_RDONLY | unix.O_NONBLOCK
