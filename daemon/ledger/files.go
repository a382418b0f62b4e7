package ledger

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// replaceFile writes a file whole or not at all, for its owner only, and has it
// on storage when it returns.
func replaceFile(path string, b []byte) error {
	temp, err := writeTemp(path, b)
	if err != nil {
		return err
	}
	if err := os.Rename(temp, path); err != nil {
		os.Remove(temp)
		return fmt.Errorf("%s cannot be written: %w", path, err)
	}
	syncDir(filepath.Dir(path))
	return nil
}

// writeTemp writes a hidden file beside path.
func writeTemp(path string, b []byte) (string, error) {
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", fmt.Errorf("a folder for state cannot be made: %w", err)
	}
	f, err := os.CreateTemp(dir, ".new-*") // 0600
	if err != nil {
		return "", fmt.Errorf("%s cannot be written: %w", path, err)
	}
	_, err = f.Write(b)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		os.Remove(f.Name())
		return "", fmt.Errorf("%s cannot be written: %w", path, err)
	}
	return f.Name(), nil
}

// syncDir makes a new name last, where folders can be synced.
func syncDir(dir string) {
	if d, err := os.Open(dir); err == nil {
		d.Sync()
		d.Close()
	}
}
