//go:build !linux

package mounttest

import "errors"

// Hang is for Linux only.
func Hang(dir string) (end func() error, err error) {
	return nil, errors.New("no file system can be made to hang here")
}
