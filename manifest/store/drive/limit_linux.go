package drive

import (
	"os"

	"golang.org/x/sys/unix"
)

// LargestFile is the largest file that the file system f lies on can hold, in
// bytes; 0 where there is no limit that a photo could reach. FAT, on many memory
// sticks, ends one byte before 4 GiB.
func LargestFile(f *os.File) int64 {
	var st unix.Statfs_t
	if err := unix.Fstatfs(int(f.Fd()), &st); err != nil || st.Type != unix.MSDOS_SUPER_MAGIC {
		return 0
	}
	return 1<<32 - 1
}
