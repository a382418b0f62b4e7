package s3

import (
	"context"
	"iter"
	"slices"
	"strings"

	"github.com/minio/minio-go/v7"

	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

func (s *Bucket) List(ctx context.Context, prefix string) iter.Seq2[store.Info, error] {
	if err := s.checkPrefix(prefix); err != nil {
		return func(yield func(store.Info, error) bool) { yield(store.Info{}, err) }
	}
	return s.list(ctx, s.below(prefix), "")
}

// list lists the keys that begin with below and come after one, "" for all; both are of
// the bucket.
func (s *Bucket) list(ctx context.Context, below, after string) iter.Seq2[store.Info, error] {
	return func(yield func(store.Info, error) bool) {
		for o, err := range s.listing(ctx, below, after, true) {
			if err != nil {
				yield(store.Info{}, s.fail("listing", strings.TrimSuffix(strings.TrimPrefix(below, s.at.Prefix), "/"), err))
				return
			}
			if strings.HasSuffix(o.Key, "/") {
				continue // what some tools put in place of a folder; it has no bytes
			}
			if !yield(infoOf(strings.TrimPrefix(o.Key, s.at.Prefix), o), nil) {
				return
			}
		}
	}
}

func (s *Bucket) Folders(ctx context.Context, prefix string) ([]string, error) {
	if err := s.checkPrefix(prefix); err != nil {
		return nil, err
	}
	below := s.below(prefix)
	var names []string
	for o, err := range s.listing(ctx, below, "", false) {
		if err != nil {
			return nil, s.fail("listing", prefix, err)
		}
		if name, ok := strings.CutSuffix(strings.TrimPrefix(o.Key, below), "/"); ok && name != "" {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return slices.Compact(names), nil
}

// Page lists what comes after a key, as much as one request gives: all keys, or
// the folders directly inside the root with a slash at their end. more tells that
// there may be further ones after the last.
func (s *Bucket) Page(ctx context.Context, after string, folders bool) (page []store.Info, more bool, err error) {
	err = s.ask(ctx, func() error {
		page, more = nil, false
		o := minio.ListObjectsOptions{Prefix: s.at.Prefix, Recursive: !folders, MaxKeys: s.page, FetchOwner: new(bool)}
		if after != "" {
			o.StartAfter = s.at.Prefix + after
		}
		for o := range s.core.ListObjectsIter(ctx, s.at.Bucket, o) {
			switch {
			case o.Err != nil:
				return o.Err
			case !strings.HasPrefix(o.Key, s.at.Prefix):
				return fault.Say(store.ErrNotS3, "it lists keys that were not asked for (%q)", store.Clip(o.Key))
			}
			page = append(page, infoOf(strings.TrimPrefix(o.Key, s.at.Prefix), o))
			if more = len(page) == s.page; more {
				return nil
			}
		}
		return ctx.Err()
	})
	if err != nil {
		return nil, false, s.fail("listing", "", err)
	}
	slices.SortFunc(page, func(a, b store.Info) int { return strings.Compare(a.Key, b.Key) })
	return page, more, nil
}

// pageSize is how many keys a service lists at most for one request.
const pageSize = 1000

// listing asks for the keys that begin with below and come after one, page by page. One
// that breaks off goes on after the last key that came.
func (s *Bucket) listing(ctx context.Context, below, after string, recursive bool) iter.Seq2[minio.ObjectInfo, error] {
	return func(yield func(minio.ObjectInfo, error) bool) {
		last, keys, ended := after, 0, false
		err := s.ask(ctx, func() error {
			o := minio.ListObjectsOptions{Prefix: below, Recursive: recursive, StartAfter: last, FetchOwner: new(bool)}
			ctx, pages := withPages(ctx)
			pages.keys = keys
			for o := range s.core.ListObjectsIter(ctx, s.at.Bucket, o) {
				switch {
				case pages.failed != nil:
					return pages.failed
				case o.Err != nil:
					return o.Err
				case !strings.HasPrefix(o.Key, below):
					return fault.Say(store.ErrNotS3, "it lists keys that were not asked for (%q)", store.Clip(o.Key))
				}
				if err := pages.got(o.Key); err != nil {
					return err
				}
				last, keys = o.Key, pages.keys
				if ended = !yield(o, nil); ended {
					return nil
				}
			}
			return ctx.Err()
		})
		if err != nil && !ended {
			yield(minio.ObjectInfo{}, err)
		}
	}
}

func (s *Bucket) checkPrefix(prefix string) error {
	if prefix == "" {
		return nil
	}
	return store.CheckKey(prefix)
}

// below is the beginning of every key in a folder.
func (s *Bucket) below(prefix string) string {
	if prefix == "" {
		return s.at.Prefix
	}
	return s.full(prefix) + "/"
}
