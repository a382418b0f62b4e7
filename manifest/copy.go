package manifest

import (
	"context"
	"crypto/sha256"
	"io"
	"sync"
)

// A buffer is large enough that a spinning drive streams, and small enough that
// a few workers' do not matter.
var buffers = sync.Pool{New: func() any { b := make([]byte, 512<<10); return &b }}

// Copy copies src to its end to dst (nil: nowhere) and says what was read: its
// digest and its size in bytes. On an error the size is how far it came. It stops
// when ctx ends.
func Copy(ctx context.Context, dst io.Writer, src io.Reader) (d Digest, size int64, err error) {
	buf := buffers.Get().(*[]byte)
	defer buffers.Put(buf)
	sha := sha256.New()
	for {
		if err := ctx.Err(); err != nil {
			return Digest{}, size, err
		}
		n, rerr := src.Read(*buf)
		if n > 0 {
			sha.Write((*buf)[:n])
			if dst != nil {
				if _, err := dst.Write((*buf)[:n]); err != nil {
					return Digest{}, size, err
				}
			}
			size += int64(n)
		}
		if rerr == io.EOF {
			sha.Sum(d[:0])
			return d, size, nil
		}
		if rerr != nil {
			return Digest{}, size, rerr
		}
	}
}
