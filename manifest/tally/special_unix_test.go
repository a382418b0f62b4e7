//go:build unix

package tally

import (
	"testing"

	"golang.org/x/sys/unix"
)

// makeSpecial puts a named pipe, which would block whoever opens it.
func makeSpecial(t *testing.T, path string) bool {
	if err := unix.Mkfifo(path, 0o644); err != nil {
		t.Fatal(err)
	}
	return true
}
