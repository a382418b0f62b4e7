//go:build unix

package small

import "golang.org/x/sys/unix"

// reserve sets addresses aside, which take memory only as they are used.
func reserve(bytes int) ([]byte, error) {
	return unix.Mmap(-1, 0, bytes, unix.PROT_READ|unix.PROT_WRITE, unix.MAP_PRIVATE|unix.MAP_ANON|unix.MAP_NORESERVE)
}
