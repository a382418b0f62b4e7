package rot

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"
	"sync"

	"github.com/cespare/xxhash/v2"

	"linecamp/manifest"
	"linecamp/manifest/words"
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

// errLonger ends the reading of what goes on beyond its size.
var errLonger = errors.New("it goes on beyond its size")

// digest reads f to its end, which must come after most bytes. progress is called with what each read brought.
// A reader that hands out its own buffer (io.WriterTo) is not copied from.
func digest(ctx context.Context, f io.Reader, most int64, what sums, progress func(int64)) (digests, error) {
	d := &digester{ctx: ctx, most: most, what: what, sha: sha256.New(), xxh: xxhash.New(), progress: progress}
	buf := buffers.Get().(*[]byte)
	defer buffers.Put(buf)
	_, err := io.CopyBuffer(d, f, *buf)
	if cause := context.Cause(ctx); cause != nil {
		err = cause
	}
	got := digests{size: d.size}
	if err == nil && what&sha != 0 {
		d.sha.Sum(got.sha[:0])
	}
	if err == nil && what&xxh != 0 {
		got.xxh = d.xxh.Sum64()
	}
	return got, err
}

// digester is what everything read is written to.
type digester struct {
	ctx      context.Context
	most     int64
	what     sums
	sha      hash.Hash
	xxh      *xxhash.Digest
	size     int64
	progress func(int64)
}

func (d *digester) Write(b []byte) (int, error) {
	if d.ctx.Err() != nil {
		return 0, context.Cause(d.ctx)
	}
	if d.what&sha != 0 {
		d.sha.Write(b)
	}
	if d.what&xxh != 0 {
		d.xxh.Write(b)
	}
	if d.size += int64(len(b)); d.size > d.most {
		return 0, errLonger
	}
	if d.progress != nil {
		d.progress(int64(len(b)))
	}
	return len(b), nil
}

// differs says in words how a size is wrong, or that only the bytes are.
func differs(got, want int64) string {
	if got == want {
		return "its bytes are not those that were recorded"
	}
	return fmt.Sprintf("it has %s, it should have %s", words.Count(got, "byte"), words.Count(want, "byte"))
}
