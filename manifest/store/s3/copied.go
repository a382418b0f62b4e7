package s3

import (
	"context"

	"github.com/minio/minio-go/v7"

	"linecamp/manifest/store"
)

// leastCopied is the smallest body that is copied from another key: to ask for that takes
// a quarter of it more than to send a body without one.
const leastCopied = 1 << 10

// copied has the service put at key what it has just stored and checked at from, so that
// the same bytes are sent once; was is what is there, nil for nothing. It reports whether
// they are there now: by the ETag, where that is of the bytes. Where it is not, the
// service cannot copy or the condition does not hold, they are to be sent.
func (s *Bucket) copied(ctx context.Context, from store.Info, key string, was *store.Info) bool {
	if from.Size < leastCopied || from.ETag == "" || s.readBack {
		return false
	}
	headers := map[string]string{"x-amz-copy-source-if-match": quoted(from.ETag), "If-None-Match": "*"}
	if was != nil {
		delete(headers, "If-None-Match")
		headers["If-Match"] = quoted(was.ETag)
	}
	var got minio.ObjectInfo
	err := s.ask(ctx, func() (err error) {
		got, err = s.core.CopyObject(ctx, s.at.Bucket, s.full(from.Key), s.at.Bucket, s.full(key), headers, minio.CopySrcOptions{}, minio.PutObjectOptions{})
		if err != nil {
			return final{err} // sending them is the next try
		}
		return nil
	})
	return err == nil && unquoted(got.ETag) == unquoted(from.ETag)
}

func quoted(etag string) string { return `"` + unquoted(etag) + `"` }

func unquoted(etag string) string {
	if n := len(etag); n > 1 && etag[0] == '"' && etag[n-1] == '"' {
		return etag[1 : n-1]
	}
	return etag
}
