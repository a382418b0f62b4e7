//go:build !linux

package store

import (
	"os"
	"runtime"
)

func (d rootDisk) SyncsAll() bool { return false }
func (d rootDisk) SyncAll() error { return nil }

// SyncfsLasts reports whether one call can make a whole file system durable.
func SyncfsLasts(*os.File) bool { return false }

// SyncFolder makes the names in an open folder durable, where the system can;
// Windows has no such call and orders the changes of names by its own journal.
func SyncFolder(f *os.File) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	return f.Sync()
}
