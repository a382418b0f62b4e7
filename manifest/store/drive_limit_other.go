//go:build !linux

package store

// MaxFile is the largest file that this drive's file system can hold, in
// bytes; 0 where that is not known. A file too large then fails with
// ErrTooLarge when it is stored.
func (d *Drive) MaxFile() int64 { return 0 }
