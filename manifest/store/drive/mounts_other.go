//go:build !windows

package drive

import (
	"slices"

	"github.com/moby/sys/mountinfo"
)

// notDrives are file systems that hold no files of anyone's, or that looking
// into could block or mount things.
var notDrives = []string{
	"autofs", "binfmt_misc", "bpf", "cgroup", "cgroup2", "configfs", "debugfs", "devfs", "devpts", "devtmpfs",
	"efivarfs", "fusectl", "hugetlbfs", "mqueue", "nsfs", "proc", "pstore", "ramfs", "rpc_pipefs", "securityfs",
	"selinuxfs", "squashfs", "sysfs", "tracefs",
}

func mountPoints() ([]string, error) {
	infos, err := mountinfo.GetMounts(func(i *mountinfo.Info) (skip, stop bool) {
		return slices.Contains(notDrives, i.FSType), false
	})
	if err != nil {
		return nil, err
	}
	var points []string
	for _, i := range infos {
		points = append(points, i.Mountpoint)
	}
	return points, nil
}
