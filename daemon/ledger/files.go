package ledger

import (
	"fmt"
	"os"
	"path/filepath"

	"linecamp/manifest/wholefile"
)

// replaceFile writes a file whole or not at all, for its owner only, and makes the
// folder it goes to.
func replaceFile(path string, b []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return fmt.Errorf("a folder for state cannot be made: %w", err)
	}
	if err := wholefile.Replace(path, 0o600, b); err != nil {
		return fmt.Errorf("%s cannot be written: %w", path, err)
	}
	return nil
}
