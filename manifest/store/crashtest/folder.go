package crashtest

import (
	"os"
	"testing"
)

// Folder is a temporary folder in memory, where the system has one: these tests
// write thousands of small files, and what that costs a disk is not their
// question.
func Folder(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "linecamp-test-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}
