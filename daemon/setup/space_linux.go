package setup

import (
	"os"

	"golang.org/x/sys/unix"

	"linecamp/manifest/store/drive"
)

// Space says how many bytes an ordinary user may still store, and the largest
// file the file system can hold, 0 where that is no matter.
func Space(folder string) (free, largest int64, ok bool) {
	f, err := os.Open(folder)
	if err != nil {
		return 0, 0, false
	}
	defer f.Close()
	var st unix.Statfs_t
	if err := unix.Fstatfs(int(f.Fd()), &st); err != nil {
		return 0, 0, false
	}
	return int64(st.Bavail) * int64(st.Bsize), drive.LargestFile(f), true
}
