package store

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/moby/sys/mountinfo"
)

// mountTable says what is to be mounted where: fstab(5).
var mountTable = "/etc/fstab"

// unmounted reports whether folder is at or below a place where the system
// mounts a drive, and nothing is mounted there now: whatever is made there lands
// on the disk below, and is hidden once the drive is back. A drive that a
// desktop mounts has no such entry; its place goes with it.
func unmounted(folder string) (place string, yes bool) {
	table, err := os.ReadFile(mountTable)
	if err != nil {
		return "", false // a system without one
	}
	folder, err = filepath.Abs(folder)
	if err != nil {
		return "", false
	}
	for line := range strings.Lines(string(table)) {
		f := strings.Fields(line)
		if len(f) < 3 || strings.HasPrefix(f[0], "#") || !strings.HasPrefix(f[1], "/") {
			continue
		}
		place := filepath.Clean(unescape(f[1]))
		if place == "/" || folder != place && !strings.HasPrefix(folder, place+"/") {
			continue
		}
		if mounted, err := mountinfo.Mounted(place); err == nil && !mounted || os.IsNotExist(err) {
			return place, true
		}
	}
	return "", false
}

// unescape undoes fstab's octal escapes, such as \040 for a space.
func unescape(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if s[i] == '\\' && i+4 <= len(s) {
			if n, err := strconv.ParseUint(s[i+1:i+4], 8, 8); err == nil {
				b.WriteByte(byte(n))
				i += 3
				continue
			}
		}
		b.WriteByte(s[i])
	}
	return b.String()
}
