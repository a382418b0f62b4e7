//go:build !unix

package mirror

const nonblock = 0
