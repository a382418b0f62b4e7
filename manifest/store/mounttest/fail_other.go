//go:build !linux

package mounttest

import "errors"

// ErrNoFail: this file system cannot be made to fail on purpose.
var ErrNoFail = errors.New("it cannot be made to fail")

// Fail is for Linux only.
func (d *Disk) Fail() error { return ErrNoFail }
