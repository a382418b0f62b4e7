package bag

import (
	"context"
	"encoding/hex"
	"hash"
	"io"
)

// sums reads r to its end and returns its digest by each algorithm asked for, in
// lower-case hex. read is told of every piece. It stops when ctx ends.
func sums(ctx context.Context, r io.Reader, which []string, read func(n int64)) (map[string]string, error) {
	hashes := make([]hash.Hash, len(which))
	to := make([]io.Writer, len(which))
	for i, a := range which {
		hashes[i] = algorithms[a]()
		to[i] = hashes[i]
	}
	all := io.MultiWriter(to...)
	buf := make([]byte, 256<<10)
	for {
		if err := ctx.Err(); err != nil {
			return nil, context.Cause(ctx)
		}
		n, err := r.Read(buf)
		_, _ = all.Write(buf[:n]) // a hash takes everything
		read(int64(n))
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, err
		}
	}
	got := map[string]string{}
	for i, a := range which {
		got[a] = hex.EncodeToString(hashes[i].Sum(nil))
	}
	return got, nil
}
