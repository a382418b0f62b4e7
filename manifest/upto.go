package manifest

import (
	"errors"
	"io"
)

// ErrLong marks what goes on beyond the size it may have.
var ErrLong = errors.New("it is larger than it may be")

// ReadUpTo reads r to its end, which must come within so many bytes; else the error
// is ErrLong. Whatever is read from outside into memory is read so.
func ReadUpTo(r io.Reader, most int64) ([]byte, error) {
	b, err := io.ReadAll(io.LimitReader(r, most+1))
	if err == nil && int64(len(b)) > most {
		err = ErrLong
	}
	if err != nil {
		return nil, err
	}
	return b, nil
}
