package drive

import (
	"os"

	"golang.org/x/sys/unix"
)

func (d rootDisk) SyncsAll() bool { return d.syncsAll }

// SyncAll is syncfs(2): one call per version in place of an fsync per file. The
// root folder has been open since before the first write, so that an error in
// writing back any of it is reported here (Linux 5.8 and later).
func (d rootDisk) SyncAll() error {
	return os.NewSyscallError("syncfs", unix.Syncfs(int(d.dir.Fd())))
}

// SyncfsLasts reports whether syncfs(2), on the file system that f lies on, makes
// as durable as an fsync of each file does. On others it does not reach all the
// way: FUSE (NTFS by ntfs-3g, exFAT by exfat-fuse) does not pass it on to the
// program that keeps the files (fs/fuse/inode.c, fuse_sync_fs), FAT and exFAT
// write to the drive and leave it in the drive's own cache (only their fsync
// flushes that), and a network's server hears of fsync alone.
func SyncfsLasts(f *os.File) bool {
	var st unix.Statfs_t
	if err := unix.Fstatfs(int(f.Fd()), &st); err != nil {
		return false
	}
	return syncfsLasts(int64(st.Type))
}

func syncfsLasts(fileSystem int64) bool {
	const (
		zfs      = 0x2fc12fc1
		bcachefs = 0xca451a4e
	)
	switch fileSystem {
	case unix.EXT4_SUPER_MAGIC, unix.XFS_SUPER_MAGIC, unix.BTRFS_SUPER_MAGIC, unix.F2FS_SUPER_MAGIC, zfs, bcachefs,
		unix.OVERLAYFS_SUPER_MAGIC, unix.TMPFS_MAGIC: // the last has nothing that lasts
		return true
	}
	return false
}
