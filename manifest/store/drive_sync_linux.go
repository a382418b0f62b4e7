package store

import (
	"os"

	"golang.org/x/sys/unix"
)

func (d rootDisk) SyncsAll() bool { return true }

// SyncAll is syncfs(2): one call per version in place of an fsync per file. The
// root folder has been open since before the first write, so that an error in
// writing back any of it is reported here (Linux 5.8 and later).
func (d rootDisk) SyncAll() error {
	return os.NewSyscallError("syncfs", unix.Syncfs(int(d.dir.Fd())))
}

func syncFolder(f *os.File) error { return f.Sync() }
