package drill

import (
	"context"
	"io"
	"sync/atomic"

	"linecamp/manifest/store"
)

// meter is a root that counts what is read from it.
type meter struct {
	store.Root
	read atomic.Int64
}

func (m *meter) Open(ctx context.Context, key string) (io.ReadCloser, store.Info, error) {
	f, info, err := m.Root.Open(ctx, key)
	return m.counted(f, err), info, err
}

func (m *meter) OpenFresh(ctx context.Context, key string) (io.ReadCloser, store.Info, error) {
	f, info, err := m.Root.OpenFresh(ctx, key)
	return m.counted(f, err), info, err
}

func (m *meter) counted(f io.ReadCloser, err error) io.ReadCloser {
	if err != nil {
		return f
	}
	return &counted{f, &m.read}
}

type counted struct {
	io.ReadCloser
	read *atomic.Int64
}

func (c *counted) Read(b []byte) (int, error) {
	n, err := c.ReadCloser.Read(b)
	c.read.Add(int64(n))
	return n, err
}
