//go:build !unix

package source

const nonblock = 0
