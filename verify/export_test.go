package verify

import (
	"io"
	"os"
)

// OpenPastCache opens a file as Working reads it.
func OpenPastCache(path string) (io.ReadCloser, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	forget(f)
	return struct {
		io.Reader
		io.Closer
	}{&forgetting{f: f}, f}, nil
}
