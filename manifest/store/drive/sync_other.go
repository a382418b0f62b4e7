//go:build !linux

package drive

import (
	"os"
)

func (d rootDisk) SyncsAll() bool { return false }
func (d rootDisk) SyncAll() error { return nil }

// SyncfsLasts reports whether one call can make a whole file system durable.
func SyncfsLasts(*os.File) bool { return false }
