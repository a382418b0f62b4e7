//go:build !unix

package within

import (
	"os"
	"strings"
)

// folded leaves out the case of letters, which such systems take no notice of.
func folded(path string) string { return strings.ToLower(path) }

func identity(os.FileInfo) string { return "" }
