package drive

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/moby/sys/mountinfo"

	"linecamp/manifest/within"
)

// mountTable says what is to be mounted where: fstab(5).
var mountTable = "/etc/fstab"

// mountUnits are where systemd has units for what is mounted here, made by a person
// or from fstab: systemd.mount(5). Those that come with the system are left out.
var mountUnits = []string{"/etc/systemd/system", "/run/systemd/system", "/run/systemd/generator"}

// drivePlaces are where drives are mounted by custom: the Filesystem Hierarchy
// Standard 3.0, sections 3.11 and 3.12, and where desktops do.
var drivePlaces = []string{"/media", "/mnt", "/run/media"}

// unmounted reports whether folder is at or below a place where the system
// mounts a drive, and nothing is mounted there now: whatever is made there lands
// on the disk below, and is hidden once the drive is back. A drive that a
// desktop mounts has no entry anywhere; an empty folder where drives belong, with
// no mount at or above it, is what it leaves.
func unmounted(folder string) (place string, yes bool) {
	folder, err := filepath.Abs(folder)
	if err != nil {
		return "", false
	}
	for _, place := range append(inTable(), inUnits()...) {
		if place == "/" || !within.Path(folder, place) {
			continue
		}
		if mounted, err := mountinfo.Mounted(place); err == nil && !mounted || os.IsNotExist(err) {
			return place, true
		}
	}
	empty := folder
	if _, err := os.Lstat(empty); os.IsNotExist(err) {
		empty = filepath.Dir(empty)
	}
	for _, among := range drivePlaces {
		if !within.Path(empty, among) {
			continue
		}
		if in, err := os.ReadDir(empty); err != nil || len(in) > 0 {
			return "", false
		}
		over, err := mountinfo.GetMounts(func(i *mountinfo.Info) (skip, stop bool) {
			return !within.Path(i.Mountpoint, among) || !within.Path(empty, i.Mountpoint), false
		})
		return empty, err == nil && len(over) == 0
	}
	return "", false
}

// inTable are the places of fstab.
func inTable() (places []string) {
	table, err := os.ReadFile(mountTable)
	if err != nil {
		return nil // a system without one
	}
	for line := range strings.Lines(string(table)) {
		f := strings.Fields(line)
		if len(f) >= 3 && !strings.HasPrefix(f[0], "#") && strings.HasPrefix(f[1], "/") {
			places = append(places, filepath.Clean(unescape(f[1])))
		}
	}
	return places
}

// inUnits are the places of systemd's mount units.
func inUnits() (places []string) {
	for _, dir := range mountUnits {
		units, _ := filepath.Glob(filepath.Join(dir, "*.mount"))
		for _, u := range units {
			text, err := os.ReadFile(u)
			if err != nil {
				continue
			}
			for line := range strings.Lines(string(text)) {
				key, where, _ := strings.Cut(line, "=")
				if where = strings.Trim(strings.TrimSpace(where), `"`); strings.TrimSpace(key) == "Where" && strings.HasPrefix(where, "/") {
					places = append(places, filepath.Clean(where))
				}
			}
		}
	}
	return places
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
