package samedisk

import (
	"os"
	"path/filepath"
	"strings"
)

// Device names the volume that a folder is on.
func Device(folder string) (string, error) {
	if _, err := os.Stat(folder); err != nil {
		return "", err
	}
	p, err := filepath.Abs(folder)
	if err != nil {
		return "", err
	}
	if p, err = filepath.EvalSymlinks(p); err != nil {
		return "", err
	}
	return "volume " + strings.ToLower(filepath.VolumeName(p)), nil
}
