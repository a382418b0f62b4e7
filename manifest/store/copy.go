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
)

// bufferSize is large enough that a spinning drive streams, and small enough
// that a few workers' buffers do not matter.
const bufferSize = 512 << 10

var buffers = sync.Pool{New: func() any { b := make([]byte, bufferSize); return &b }}

// sums are what one pass over some bytes finds out about them.
type sums struct {
	size   int64
	sha256 manifest.Digest
	xxh64  uint64
}

// copySums copies src to dst (nil: nowhere) and digests it on the way.
func copySums(ctx context.Context, dst io.Writer, src io.Reader) (sums, error) {
	buf := buffers.Get().(*[]byte)
	defer buffers.Put(buf)
	sha, xx := sha256.New(), xxhash.New()
	var s sums
	for {
		if err := ctx.Err(); err != nil {
			return s, err
		}
		n, err := src.Read(*buf)
		if n > 0 {
			b := (*buf)[:n]
			sha.Write(b)
			xx.Write(b)
			s.size += int64(n)
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
			return s, readError{err}
		}
	}
	sha.Sum(s.sha256[:0])
	s.xxh64 = xx.Sum64()
	return s, nil
}

// readError marks that a copy failed on the side it was read from, so that the
// place it was written to is not blamed.
type readError struct{ error }

func (e readError) Unwrap() error { return e.error }

// copyContent is copySums of a Content, which must turn out to be what it says.
func copyContent(ctx context.Context, dst io.Writer, c Content) (sums, error) {
	src, err := c.Open(ctx)
	if err != nil {
		return sums{}, readError{err}
	}
	defer src.Close()
	s, err := copySums(ctx, dst, src)
	if err != nil {
		return s, err
	}
	if s.size != c.Size || s.sha256 != c.SHA256 {
		return s, digestError(s.size, s.sha256, c)
	}
	return s, nil
}

func digestError(size int64, d manifest.Digest, c Content) error {
	return fmt.Errorf("read %d bytes with SHA-256 %.12s…, expected %d with %.12s…: %w", size, d, c.Size, c.SHA256, ErrDigest)
}

// digestOf reads a key of a root and digests it; fresh is past the page cache.
func digestOf(ctx context.Context, r Root, key string, fresh bool) (sums, Info, error) {
	return digestUpTo(ctx, r, key, fresh, math.MaxInt64-1)
}

// digestUpTo is digestOf of most bytes. What is longer has one more, and another
// digest than what is not.
func digestUpTo(ctx context.Context, r Root, key string, fresh bool, most int64) (sums, Info, error) {
	open := r.Open
	if fresh {
		open = r.OpenFresh
	}
	f, info, err := open(ctx, key)
	if err != nil {
		return sums{}, Info{}, err
	}
	defer f.Close()
	s, err := copySums(ctx, nil, io.LimitReader(f, most+1))
	if err != nil {
		return s, info, fmt.Errorf("%s: reading %s: %w", r.Name(), key, err)
	}
	info.Size, info.SHA256, info.XXH64 = s.size, s.sha256, s.xxh64
	return s, info, nil
}
