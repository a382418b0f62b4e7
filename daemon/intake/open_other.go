//go:build !unix

package intake

import "os"

const openFlags = os.O_RDONLY
