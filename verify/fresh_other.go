//go:build !linux

package verify

import "os"

const openFlags = os.O_RDONLY

// forget does nothing where the system takes no advice on its page cache.
func forget(*os.File) {}
