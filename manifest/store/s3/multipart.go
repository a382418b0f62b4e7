package s3

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"io"
	"time"

	"github.com/cespare/xxhash/v2"
	"github.com/minio/minio-go/v7"

	"linecamp/manifest"
	"linecamp/manifest/store"
)

// A multipart upload has at most 10,000 parts; 16 MiB each reaches 160 GiB, and
// only larger files get larger parts.
const (
	partSize = 16 << 20
	maxParts = 10_000
)

// putParts stores a large file in parts, each checked by the service against
// its own SHA-256. The whole is digested alongside, and the upload is completed
// only if it is what the manifest says; until then nothing is under the key. An
// upload that ends before is gone on with later, see resume.
func (s *Bucket) putParts(ctx context.Context, key string, c store.Content, cond condition) (store.Info, error) {
	bucket, full := s.at.Bucket, s.full(key)
	size := max(s.part, (c.Size+maxParts-1)/maxParts)
	up, err := s.resume(ctx, key, c, size)
	if err != nil {
		return store.Info{}, err
	}
	if up.ID == "" {
		o := putOptions(c)
		o.UserMetadata["x-amz-checksum-algorithm"] = "SHA256"
		up = begun{SHA256: c.SHA256, Size: c.Size, Part: size}
		err := s.ask(ctx, func() (err error) {
			s.abortOld(ctx, full) // at each try: the answer to the one before may have been lost
			up.ID, err = s.core.NewMultipartUpload(ctx, bucket, full, o)
			return err
		})
		if err != nil {
			return store.Info{}, err
		}
		s.remember(key, up)
	}
	id := up.ID
	useless := s.memory == nil // what arrived is of no use if the upload ends now
	defer func() {
		if useless {
			s.forget(key)
			// The parts are of no use, and the round may be ending.
			ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
			defer cancel()
			_ = s.core.AbortMultipartUpload(ctx, bucket, full, id)
		}
	}()
	src, err := c.Open(ctx)
	if err != nil {
		return store.Info{}, store.ReadError{Err: err}
	}
	defer src.Close()

	buf := make([]byte, size)
	whole, xx := sha256.New(), xxhash.New()
	var parts []minio.CompletePart
	var total int64
	for {
		n, rerr := io.ReadFull(src, buf)
		if rerr != nil && rerr != io.EOF && rerr != io.ErrUnexpectedEOF {
			return store.Info{}, store.ReadError{Err: rerr}
		}
		if n > 0 {
			whole.Write(buf[:n])
			xx.Write(buf[:n])
			if total += int64(n); total > c.Size {
				break
			}
			d := manifest.Sum(buf[:n])
			if i := len(parts); i < len(up.Parts) {
				if up.Parts[i].SHA256 == d {
					parts = append(parts, minio.CompletePart{PartNumber: i + 1, ETag: up.Parts[i].ETag, ChecksumSHA256: b64(d)})
					if rerr != nil {
						break
					}
					continue
				}
				up.Parts = up.Parts[:i] // other bytes than were sent: from here on it is sent anew
			}
			if s.pause != nil {
				if err := s.pause(); err != nil {
					return store.Info{}, paused{err}
				}
			}
			part, err := s.putPart(ctx, full, id, len(parts)+1, buf[:n], d)
			if err != nil {
				useless = useless || s.refusedForGood(err) && !errors.Is(s.fail("storing", key, err), errChanged)
				return store.Info{}, err
			}
			parts = append(parts, part)
			up.Parts = append(up.Parts, sentPart{part.ETag, d})
			s.remember(key, up)
		}
		if rerr != nil {
			break
		}
	}
	if d := manifest.Digest(whole.Sum(nil)); total != c.Size || d != c.SHA256 {
		useless = true
		return store.Info{}, store.DigestError(total, d, c)
	}
	// Some services obey conditions on a PUT and not on a completion, and the parts
	// took their time: what is there now is looked at once more.
	if cond != (condition{}) {
		if done, info, err := s.checkFirst(ctx, key, c, cond); done || err != nil {
			useless = useless || done
			return info, err
		}
	}
	// Only the condition goes with the completion; the rest was said before.
	done := minio.PutObjectOptions{}
	cond.apply(&done)
	var got minio.UploadInfo
	err = s.ask(ctx, func() (err error) {
		got, err = s.core.CompleteMultipartUpload(ctx, bucket, full, id, parts, done)
		return err
	})
	if err != nil {
		if isCode(err, "NoSuchUpload") {
			// Completed by a try whose response was lost, it may be.
			if info, same, serr := s.same(ctx, key, c); serr == nil && same {
				s.forget(key)
				return info, nil
			}
			s.forget(key)
		}
		if s.refusedForGood(err) {
			// It may have lost a part, and would be refused in each round. The next
			// one begins anew; this one does not send it all again.
			useless, err = true, final{err}
		}
		return store.Info{}, err
	}
	useless = false
	s.forget(key)
	return store.Info{Key: key, Size: c.Size, ETag: got.ETag, XXH64: xx.Sum64()}, nil
}

func (s *Bucket) putPart(ctx context.Context, full, id string, number int, b []byte, d manifest.Digest) (minio.CompletePart, error) {
	var part minio.ObjectPart
	err := s.ask(ctx, func() (err error) {
		body := struct{ io.Reader }{bytes.NewReader(b)} // cannot seek: see upload
		part, err = s.core.PutObjectPart(ctx, s.at.Bucket, full, id, number, body, int64(len(b)), minio.PutObjectPartOptions{
			Sha256Hex:            d.String(),
			CustomHeader:         checksumHeader(d),
			DisableContentSha256: true,
		})
		return err
	})
	if err != nil {
		return minio.CompletePart{}, err
	}
	return minio.CompletePart{PartNumber: number, ETag: part.ETag, ChecksumSHA256: b64(d)}, nil
}

// abortOld gives up what an earlier try left of the same upload: its parts would
// be paid for and never seen. Nothing depends on it.
func (s *Bucket) abortOld(ctx context.Context, full string) {
	old, err := s.core.ListMultipartUploads(ctx, s.at.Bucket, full, "", "", "", 100)
	if err != nil {
		return
	}
	for _, u := range old.Uploads {
		if u.Key == full {
			_ = s.core.AbortMultipartUpload(ctx, s.at.Bucket, full, u.UploadID)
		}
	}
}
