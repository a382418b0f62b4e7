//go:build unix

package source

import "syscall"

// nonblock keeps an open from hanging on a pipe that took a file's place.
const nonblock = syscall.O_NONBLOCK | syscall.O_NOFOLLOW
