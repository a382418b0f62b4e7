package verify

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"sync"

	"github.com/cespare/xxhash/v2"

	"linecamp/manifest"
)

// readSize is large enough for a spinning drive to stream.
const readSize = 512 << 10

var buffers = sync.Pool{New: func() any { b := make([]byte, readSize); return &b }}

// sums says which digests are wanted.
type sums int

const (
	sha sums = 1 << iota
	xxh
)

// digests is what was read.
type digests struct {
	size int64
	sha  manifest.Digest
	xxh  uint64
}

// digest reads f to its end. progress is called with what each read brought.
func digest(ctx context.Context, f io.Reader, what sums, progress func(int64)) (digests, error) {
	buf := buffers.Get().(*[]byte)
	defer buffers.Put(buf)
	s, x := sha256.New(), xxhash.New()
	var d digests
	for {
		if err := ctx.Err(); err != nil {
			return d, context.Cause(ctx)
		}
		n, err := f.Read(*buf)
		if n > 0 {
			b := (*buf)[:n]
			if what&sha != 0 {
				s.Write(b)
			}
			if what&xxh != 0 {
				x.Write(b)
			}
			d.size += int64(n)
			if progress != nil {
				progress(int64(n))
			}
		}
		if err == io.EOF {
			break
		}
		if err != nil {
			return d, err
		}
	}
	if what&sha != 0 {
		s.Sum(d.sha[:0])
	}
	if what&xxh != 0 {
		d.xxh = x.Sum64()
	}
	return d, nil
}

func readLimited(f io.Reader, limit int64) ([]byte, error) {
	b, err := io.ReadAll(io.LimitReader(f, limit+1))
	if err == nil && int64(len(b)) > limit {
		err = fmt.Errorf("it is larger than the %s it may have", sizeText(limit))
	}
	return b, err
}

// differs says in words how a size is wrong, or that only the bytes are.
func differs(got, want int64) string {
	if got == want {
		return "its bytes differ from the manifest"
	}
	return fmt.Sprintf("it has %s, it should have %s", count(got, "byte"), count(want, "byte"))
}
