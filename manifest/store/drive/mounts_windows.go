package drive

import "golang.org/x/sys/windows"

// mountPoints are the roots of the drives that have a letter.
func mountPoints() ([]string, error) {
	set, err := windows.GetLogicalDrives()
	if err != nil {
		return nil, err
	}
	return letters(set), nil
}
