//go:build !linux

package rot

import "os"

// forget does nothing where the system takes no advice on its page cache.
func forget(*os.File) {}
