package store

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"math"
	"sync"

	"github.com/cespare/xxhash/v2"

	"linecamp/manifest"
	"linecamp/manifest/store/fault"
)

// bufferSize is large enough that a spinning drive streams, and small enough
// that a few workers' buffers do not matter.
const bufferSize = 512 << 10

var buffers = sync.Pool{New: func() any { b := make([]byte, bufferSize); return &b }}

// Sums are what one pass over some bytes finds out about them.
type Sums struct {
	Size   int64
	SHA256 manifest.Digest
	XXH64  uint64
}

// CopySums copies src to dst (nil: nowhere) and digests it on the way.
func CopySums(ctx context.Context, dst io.Writer, src io.Reader) (Sums, error) {
	buf := buffers.Get().(*[]byte)
	defer buffers.Put(buf)
	sha, xx := sha256.New(), xxhash.New()
	var s Sums
	for {
		if err := ctx.Err(); err != nil {
			return s, err
		}
		n, err := src.Read(*buf)
		if n > 0 {
			b := (*buf)[:n]
			sha.Write(b)
			xx.Write(b)
			s.Size += int64(n)
			if dst != nil {
				if _, err := dst.Write(b); err != nil {
					return s, err
				}
			}
		}
		if err == io.EOF {
			break
		}
		if err != nil {
			return s, ReadError{err}
		}
	}
	sha.Sum(s.SHA256[:0])
	s.XXH64 = xx.Sum64()
	return s, nil
}

// ReadError marks that a copy failed on the side it was read from, so that the
// place it was written to is not blamed.
type ReadError struct{ Err error }

func (e ReadError) Error() string { return e.Err.Error() }
func (e ReadError) Unwrap() error { return e.Err }

// CopyContent is CopySums of a Content, which must turn out to be what it says.
func CopyContent(ctx context.Context, dst io.Writer, c Content) (Sums, error) {
	src, err := c.Open(ctx)
	if err != nil {
		return Sums{}, ReadError{err}
	}
	defer src.Close()
	s, err := CopySums(ctx, dst, src)
	if err != nil {
		return s, err
	}
	if s.Size != c.Size || s.SHA256 != c.SHA256 {
		return s, DigestError(s.Size, s.SHA256, c)
	}
	return s, nil
}

// DigestError says that bytes are not what a Content says.
func DigestError(size int64, d manifest.Digest, c Content) error {
	return fault.Say(ErrDigest, "read %d bytes with SHA-256 %.12s…, expected %d with %.12s…", size, d, c.Size, c.SHA256)
}

// DigestOf reads a key of a root and digests it; fresh is past the page cache.
func DigestOf(ctx context.Context, r Root, key string, fresh bool) (Sums, Info, error) {
	return DigestUpTo(ctx, r, key, fresh, math.MaxInt64-1)
}

// DigestUpTo is DigestOf of most bytes. What is longer has one more, and another
// digest than what is not.
func DigestUpTo(ctx context.Context, r Root, key string, fresh bool, most int64) (Sums, Info, error) {
	open := r.Open
	if fresh {
		open = r.OpenFresh
	}
	f, info, err := open(ctx, key)
	if err != nil {
		return Sums{}, Info{}, err
	}
	defer f.Close()
	s, err := CopySums(ctx, nil, io.LimitReader(f, most+1))
	if err != nil {
		return s, info, fmt.Errorf("%s: reading %s: %w", r.Name(), key, err)
	}
	info.Size, info.SHA256, info.XXH64 = s.Size, s.SHA256, s.XXH64
	return s, info, nil
}
