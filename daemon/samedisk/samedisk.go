// Package samedisk tells which copies one failing disk would take together, with the
// photos or with one another. Call [Notes]; [Device] names the disk of one folder.
package samedisk

import (
	"fmt"
	"strings"

	"linecamp/manifest"
)

// Drive is a copy on a drive, and the folder it is in now.
type Drive struct{ Name, Folder string }

// Notes are sentences without their stop, one for each disk. What the system does
// not tell of a folder is passed over.
func Notes(working string, drives []Drive) []string { return notes(working, drives, Device) }

func notes(working string, drives []Drive, device func(folder string) (string, error)) []string {
	var said, order []string
	photos := ""
	if working != "" {
		photos, _ = device(working)
	}
	on := map[string][]string{}
	for _, d := range drives {
		at, err := device(d.Folder)
		if err != nil || at == "" {
			continue
		}
		if len(on[at]) == 0 {
			order = append(order, at)
		}
		on[at] = append(on[at], manifest.Printable(d.Name))
	}
	for _, at := range order {
		names := on[at]
		switch {
		case at == photos && len(names) == 1:
			said = append(said, fmt.Sprintf("%s lies on the same disk as the photos, so a disk that fails takes both. Keep a copy on another drive too", names[0]))
		case at == photos:
			said = append(said, fmt.Sprintf("%s lie on the same disk as the photos, so a disk that fails takes all of them. Keep a copy on another drive too", strings.Join(names, " and ")))
		case len(names) > 1:
			said = append(said, fmt.Sprintf("%s share one disk, so a disk that fails takes all of them. Keep them on different drives", strings.Join(names, " and ")))
		}
	}
	return said
}
