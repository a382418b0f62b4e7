package setup

import "golang.org/x/sys/unix"

// Largest files of file systems drives are sold with; magic numbers from
// linux/magic.h.
var largestFile = map[int64]int64{
	unix.MSDOS_SUPER_MAGIC: 1<<32 - 1, // FAT32
}

// space says how many bytes an ordinary user may still store, and the largest
// file the file system can hold, 0 where that is no matter.
func space(folder string) (free, largest int64, ok bool) {
	var st unix.Statfs_t
	if err := unix.Statfs(folder, &st); err != nil {
		return 0, 0, false
	}
	return int64(st.Bavail) * int64(st.Bsize), largestFile[int64(st.Type)], true
}
