package walk

import "time"

// what a name stands for.
type what uint8

const (
	regular what = iota
	directory
	link
	special // pipe, socket, device
)

// stat is what the file system says of a file without opening it.
type stat struct {
	size              int64
	modified, changed time.Time // changed is zero where the system has no such time
	inode, device     uint64    // zero where the system has none
	what              what
	online            bool // its bytes are not on this computer
}

// same reports whether two looks found the same file, unchanged.
func (s *stat) same(o *stat) bool {
	return s.what == o.what && s.size == o.size && s.inode == o.inode && s.device == o.device &&
		s.modified.Equal(o.modified) && s.changed.Equal(o.changed)
}

// known reports whether the file is the one that k tells of. A different
// inode or change time with equal size and modification time is what a copy or
// a restored backup looks like, and also what a careful forgery looks like:
// the file is read again.
func (s *stat) known(k *Known) bool {
	return s.size == k.Size && s.inode == k.Inode && s.modified.Equal(k.Modified) && s.changed.Equal(k.Changed)
}
