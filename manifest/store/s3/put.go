package s3

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"hash"
	"io"
	"net/http"
	"strings"
	"sync"

	"github.com/cespare/xxhash/v2"
	"github.com/minio/minio-go/v7"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// singlePut is the largest body sent in one PUT.
const singlePut = 64 << 20

// put stores c under key where the condition holds. A refused condition is not
// yet a conflict: the response to an earlier try may have been lost, so what is
// there is compared first, and the same bytes are success.
func (s *Bucket) put(ctx context.Context, key string, c store.Content, cond condition) (store.Info, error) {
	if c.Size == 0 && c.SHA256 != manifest.Sum(nil) {
		return store.Info{}, store.DigestError(0, manifest.Sum(nil), c)
	}
	if !s.fence && cond != (condition{}) {
		done, info, err := s.checkFirst(ctx, key, c, cond)
		if done || err != nil {
			return info, err
		}
		cond = condition{}
	}
	var info store.Info
	sent, met := 0, false // met: the condition did not hold
	err := s.ask(ctx, func() (err error) {
		sent++
		info, err = s.putOnce(ctx, key, c, cond)
		if met = preconditionFailed(err) || cond.etag != "" && isCode(err, "NoSuchKey"); met {
			info, err = s.metThere(ctx, key, c, cond)
		}
		return err
	})
	switch {
	case met:
		return info, err
	case err == nil:
		return s.confirm(ctx, key, c, info)
	}
	err = s.fail("storing", key, err)
	if sent == 1 && fault.Of(err) == fault.Refused {
		err = fault.Unstored(err)
	}
	return store.Info{}, err
}

// confirm reads an upload back where the service does not check it.
func (s *Bucket) confirm(ctx context.Context, key string, c store.Content, info store.Info) (store.Info, error) {
	if !s.readBack {
		return info, nil
	}
	_, back, err := store.DigestOf(ctx, s, key, true)
	if err != nil {
		return store.Info{}, err
	}
	if back.SHA256 != c.SHA256 {
		return store.Info{}, fault.Say(errChanged, "%s: %s was stored and reads back with other bytes", s.Name(), key)
	}
	info.XXH64 = back.XXH64
	return info, nil
}

func (s *Bucket) putOnce(ctx context.Context, key string, c store.Content, cond condition) (store.Info, error) {
	if c.Size > s.single {
		return s.putParts(ctx, key, c, cond)
	}
	o := putOptions(c)
	o.UserMetadata["x-amz-checksum-sha256"] = b64(c.SHA256)
	cond.apply(&o)
	body := &upload{ctx: ctx, c: c}
	defer body.Close()
	got, err := s.core.PutObject(ctx, s.at.Bucket, s.full(key), body, c.Size, "", c.SHA256.String(), o)
	if err != nil {
		return store.Info{}, body.blame(err)
	}
	info := store.Info{Key: key, Size: c.Size, ETag: got.ETag, SHA256: reported(got.ChecksumSHA256, ""), XXH64: body.xxh64()}
	return info, nil
}

// putOptions are what every write has. The SHA-256 is known beforehand and goes
// into the signed header x-amz-content-sha256, so the library must not sign the
// body in chunks as it is read.
func putOptions(c store.Content) minio.PutObjectOptions {
	return minio.PutObjectOptions{
		DisableContentSha256: true,
		ContentType:          "application/octet-stream",
		UserMetadata:         map[string]string{"sha256": c.SHA256.String()},
	}
}

func b64(d manifest.Digest) string { return base64.StdEncoding.EncodeToString(d[:]) }

// upload is the body of one try of one PUT. It digests what passes and holds
// back the end of a body that is not what the manifest says: the service gets a
// request cut short and stores nothing. It cannot seek, so that the library
// does not try again by itself with the same, perhaps still being read, body.
type upload struct {
	ctx context.Context
	c   store.Content

	mu     sync.Mutex
	rc     io.ReadCloser
	sha    hash.Hash
	xx     *xxhash.Digest
	n      int64
	err    error
	closed bool
}

func (u *upload) Read(p []byte) (int, error) {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.closed {
		return 0, io.ErrClosedPipe
	}
	n, err := u.read(p)
	if err != nil && err != io.EOF {
		u.err = err
	}
	return n, err
}

func (u *upload) read(p []byte) (int, error) {
	if u.err != nil {
		return 0, u.err
	}
	if u.rc == nil {
		rc, err := u.c.Open(u.ctx)
		if err != nil {
			return 0, store.ReadError{Err: err}
		}
		u.rc, u.sha, u.xx = rc, sha256.New(), xxhash.New()
	}
	if u.n == u.c.Size {
		return 0, io.EOF
	}
	if left := u.c.Size - u.n; int64(len(p)) > left {
		p = p[:left]
	}
	n, err := u.rc.Read(p)
	u.sha.Write(p[:n])
	u.xx.Write(p[:n])
	u.n += int64(n)
	switch {
	case u.n == u.c.Size:
		if d := manifest.Digest(u.sha.Sum(nil)); d != u.c.SHA256 {
			return 0, store.DigestError(u.n, d, u.c)
		}
		return n, nil
	case err == io.EOF:
		return 0, store.DigestError(u.n, manifest.Digest(u.sha.Sum(nil)), u.c)
	case err != nil:
		return n, store.ReadError{Err: err}
	}
	return n, nil
}

func (u *upload) Close() error {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.closed = true
	if u.rc == nil {
		return nil
	}
	return u.rc.Close()
}

// blame returns the body's own error in place of the request's it caused.
func (u *upload) blame(err error) error {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.err != nil {
		return u.err
	}
	return err
}

func (u *upload) xxh64() uint64 {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.xx == nil {
		return xxhash.Sum64(nil) // an empty body is never read
	}
	return u.xx.Sum64()
}

// checksumHeader is the header that has the service check one part.
func checksumHeader(d manifest.Digest) http.Header {
	return http.Header{http.CanonicalHeaderKey("x-amz-checksum-sha256"): {b64(d)}}
}

func isCode(err error, codes ...string) bool {
	var e minio.ErrorResponse
	if !errors.As(err, &e) {
		return false
	}
	for _, c := range codes {
		if strings.EqualFold(e.Code, c) {
			return true
		}
	}
	return false
}
