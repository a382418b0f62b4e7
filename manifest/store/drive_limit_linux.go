package store

import "golang.org/x/sys/unix"

// MaxFile is the largest file that this drive's file system can hold, in
// bytes; 0 where there is no limit that a photo could reach. FAT, on many
// memory sticks, ends one byte before 4 GiB.
func (d *Drive) MaxFile() int64 {
	var st unix.Statfs_t
	if err := unix.Fstatfs(int(d.dir.Fd()), &st); err != nil || st.Type != unix.MSDOS_SUPER_MAGIC {
		return 0
	}
	return 1<<32 - 1
}
