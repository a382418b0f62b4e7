package s3

import (
	"context"
	"errors"
	"io/fs"

	"github.com/minio/minio-go/v7"

	"linecamp/manifest/store"
)

// condition is what must hold at a key for a write to happen.
type condition struct {
	absent bool   // nothing is there
	etag   string // exactly this is there
}

func (c condition) apply(o *minio.PutObjectOptions) {
	switch {
	case c.absent:
		o.SetMatchETagExcept("*")
	case c.etag != "":
		o.SetMatchETag(c.etag)
	}
}

// metThere judges what is at a key whose condition did not hold.
func (s *Bucket) metThere(ctx context.Context, key string, c store.Content, cond condition) (store.Info, error) {
	there, same, err := s.same(ctx, key, c)
	switch {
	case err == nil && same:
		return there, nil
	case errors.Is(err, fs.ErrNotExist) && cond.absent:
		// Raced with a write that did not succeed: ours may, at the next try.
		return store.Info{}, s.conflict(key)
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return store.Info{}, final{err}
	}
	return store.Info{}, final{s.conflict(key)}
}

// checkFirst stands in for conditions at a service that ignores them. Between
// this look and the write another machine could write: a person has given
// their word that there is none.
func (s *Bucket) checkFirst(ctx context.Context, key string, c store.Content, cond condition) (done bool, info store.Info, err error) {
	info, same, err := s.same(ctx, key, c)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if cond.absent {
			return false, store.Info{}, nil
		}
		return false, store.Info{}, s.conflict(key)
	case err != nil:
		return false, store.Info{}, err
	case same:
		return true, info, nil
	case cond.etag != "" && info.ETag == cond.etag:
		return false, store.Info{}, nil
	}
	return false, store.Info{}, s.conflict(key)
}
