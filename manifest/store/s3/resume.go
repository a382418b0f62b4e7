package s3

import (
	"context"
	"encoding/json"
	"errors"
	"strings"

	"github.com/minio/minio-go/v7"

	"linecamp/manifest"
	"linecamp/manifest/store"
)

// Memory keeps what is known of uploads in parts, so that a later process goes on with
// them. What it loses is sent again.
type Memory interface {
	Upload(key string) (text string, err error) // "" for none
	SetUpload(key, text string) error           // "" forgets it
	Uploads() (keys []string, err error)        // those that are remembered
}

// begun is an upload in parts that was begun under a key.
type begun struct {
	ID     string          `json:"id"`
	SHA256 manifest.Digest `json:"sha256"` // of the whole, which the upload's metadata names
	Size   int64           `json:"size"`   // of the whole
	Part   int64           `json:"part"`   // size of each part but the last
	Parts  []sentPart      `json:"parts"`  // those that the service took, in their order
}

// sentPart is a part of which the service checked the SHA-256 when it took it.
type sentPart struct {
	ETag   string          `json:"etag"`
	SHA256 manifest.Digest `json:"sha256"`
}

// resume returns the upload to go on with: one of the same bytes in the same parts, with
// the parts that the service still has as it took them. The zero value is none.
func (s *Bucket) resume(ctx context.Context, key string, c store.Content, size int64) (begun, error) {
	var b begun
	if s.memory == nil {
		return b, nil
	}
	text, err := s.memory.Upload(key)
	if err != nil || text == "" {
		return b, err
	}
	if json.Unmarshal([]byte(text), &b) != nil || b.SHA256 != c.SHA256 || b.Size != c.Size || b.Part != size {
		s.abort(ctx, key, b.ID)
		return begun{}, nil
	}
	var there []minio.ObjectPart
	for marker := 0; ; {
		var page minio.ListObjectPartsResult
		err := s.ask(ctx, func() (err error) {
			page, err = s.core.ListObjectParts(ctx, s.at.Bucket, s.full(key), b.ID, marker, 1000)
			return err
		})
		if saysNo(err) {
			s.abort(ctx, key, b.ID)
			return begun{}, nil // it is no more, or these credentials may not list parts: begun anew
		}
		if err != nil {
			return begun{}, err
		}
		there = append(there, page.ObjectParts...)
		if !page.IsTruncated || page.NextPartNumberMarker <= marker {
			break
		}
		marker = page.NextPartNumberMarker
	}
	n := 0
	for n < len(b.Parts) && n < len(there) && there[n].PartNumber == n+1 && unquoted(there[n].ETag) == unquoted(b.Parts[n].ETag) &&
		there[n].Size == min(size, c.Size-int64(n)*size) {
		n++
	}
	b.Parts = b.Parts[:n]
	return b, nil
}

// remember keeps how far an upload is. What cannot be kept is sent again.
func (s *Bucket) remember(key string, b begun) {
	if s.memory == nil {
		return
	}
	if text, err := json.Marshal(b); err == nil {
		_ = s.memory.SetUpload(key, string(text))
	}
}

func (s *Bucket) forget(key string) {
	if s.memory == nil {
		return
	}
	if text, err := s.memory.Upload(key); err == nil && text != "" {
		_ = s.memory.SetUpload(key, "")
	}
}

// abort ends an upload that is not gone on with: its parts would be paid for and never
// seen. Nothing depends on it. It reports whether the service did it, or refuses to.
func (s *Bucket) abort(ctx context.Context, key, id string) (answered bool) {
	if id == "" {
		return true
	}
	err := s.ask(ctx, func() error { return s.core.AbortMultipartUpload(ctx, s.at.Bucket, s.full(key), id) })
	return err == nil || saysNo(err)
}

// saysNo reports whether the service answered that it does not do it, and was not only
// busy or in trouble.
func saysNo(err error) bool {
	var answer minio.ErrorResponse
	return errors.As(err, &answer) && !worthRetrying(err)
}

// EndUploads ends the uploads under versions that came without them, or will never come,
// as over tells. Where the service does not let it, a rule of the bucket's ends them.
func (s *Bucket) EndUploads(ctx context.Context, over func(object string, version int) bool) {
	if s.memory == nil {
		return
	}
	keys, err := s.memory.Uploads()
	if err != nil {
		return
	}
	for _, key := range keys {
		object, rest, _ := strings.Cut(key, "/")
		name, _, _ := strings.Cut(rest, "/")
		if n, ok := manifest.ParseVersion(name); ok && over(object, n) {
			var b begun
			text, err := s.memory.Upload(key)
			_ = json.Unmarshal([]byte(text), &b) // what does not read tells of no upload
			if err == nil && s.abort(ctx, key, b.ID) {
				s.forget(key)
			}
		}
	}
}
