package drive

import (
	"testing"

	"golang.org/x/sys/unix"
)

func TestSyncfsLasts(t *testing.T) {
	for name, tt := range map[string]struct {
		fileSystem int64
		want       bool
	}{
		"ext4":  {unix.EXT4_SUPER_MAGIC, true},
		"btrfs": {unix.BTRFS_SUPER_MAGIC, true},
		"FAT":   {unix.MSDOS_SUPER_MAGIC, false},
		"exFAT": {unix.EXFAT_SUPER_MAGIC, false},
		"FUSE":  {unix.FUSE_SUPER_MAGIC, false},
		"NFS":   {unix.NFS_SUPER_MAGIC, false},
		"SMB":   {unix.SMB2_SUPER_MAGIC, false},
	} {
		if got := syncfsLasts(tt.fileSystem); got != tt.want {
			t.Errorf("%s: %v", name, got)
		}
	}
}
