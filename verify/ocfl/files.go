package ocfl

import (
	"context"
	"errors"
	"fmt"
	"io"

	"linecamp/manifest"
)

// Kind is what a name stands for.
type Kind uint8

const (
	File    Kind = iota // an ordinary file
	Folder              // a folder
	Link                // a symbolic link, never followed
	Special             // a device, pipe or socket, never opened
)

// Entry is one name in a folder.
type Entry struct {
	Name string
	Kind Kind
	Size int64 // of a File, in bytes
	// Same is equal for two names of one file (hard links) and "" for a file
	// with one name only, or where it is not known.
	Same string
}

// Files is what Validate reads: a folder on a drive, or keys in a bucket. Names
// are slash-separated and relative; "" is the folder being checked. Several
// goroutines may call Open.
type Files interface {
	Name() string // what is being checked, for people
	// List returns what is directly inside a folder, in any order.
	List(ctx context.Context, folder string) ([]Entry, error)
	// Open reads a File from its beginning.
	Open(ctx context.Context, name string) (io.ReadCloser, error)
}

func join(folder, name string) string {
	if folder == "" {
		return name
	}
	return folder + "/" + name
}

var errTooLarge = errors.New("larger than this validator reads")

// readSmall reads a whole file into memory; more than limit bytes is errTooLarge.
func readSmall(ctx context.Context, f Files, name string, limit int64) ([]byte, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	r, err := f.Open(ctx, name)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	b, err := manifest.ReadUpTo(contextReader{ctx, r}, limit)
	if errors.Is(err, manifest.ErrLong) {
		err = fmt.Errorf("it has more than %d bytes: %w", limit, errTooLarge)
	}
	return b, err
}

// contextReader stops reading when the context ends.
type contextReader struct {
	ctx context.Context
	r   io.Reader
}

func (r contextReader) Read(p []byte) (int, error) {
	if err := r.ctx.Err(); err != nil {
		return 0, err
	}
	return r.r.Read(p)
}

func isTooLarge(err error) bool { return errors.Is(err, errTooLarge) }
