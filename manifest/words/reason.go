package words

import (
	"errors"
	"io/fs"
	"os"
)

// Reason is what the system said of a file, without the names of files: they
// stand beside it.
func Reason(err error) string {
	var p *fs.PathError
	var l *os.LinkError
	switch {
	case errors.As(err, &p):
		return p.Err.Error()
	case errors.As(err, &l):
		return l.Err.Error()
	}
	return err.Error()
}
