package archive

import (
	"os"
	"path/filepath"
	"strings"
)

// Resolved is a place with every link on the way followed.
func Resolved(p string) (string, error) {
	p, err := filepath.Abs(p)
	if err != nil {
		return "", err
	}
	return filepath.EvalSymlinks(p)
}

// Within reports whether p lies below dir.
func Within(p, dir string) bool {
	rel, err := filepath.Rel(dir, p)
	return err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(os.PathSeparator))
}
