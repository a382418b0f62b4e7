package store

import (
	"context"
	"fmt"
	"io"
	"iter"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/minio/minio-go/v7"
	"github.com/minio/minio-go/v7/pkg/credentials"
)

// S3Options says where a bucket is and how to get in.
type S3Options struct {
	URL         string // https://host/bucket[/prefix]; plain http only to this machine
	VirtualHost bool   // the bucket is the first label of the host: https://bucket.host[/prefix]
	Region      string // "" asks the service
	Access      string
	Secret      string
	Session     string
	CAFile      string // PEM file with certificate authorities to trust besides the system's
	Fence       bool   // the service obeys conditional writes; false: a person vouches for one writer
	ReadBack    bool   // the service does not check our SHA-256: read every upload back
	// Silence is how long a request may go on without a byte moving; 0 is a minute.
	Silence time.Duration
	// Transport takes the place of the network, for tests; nil is the real one.
	Transport http.RoundTripper
}

// S3 is a root below a prefix of a bucket.
type S3 struct {
	at       Address
	core     *minio.Core
	fence    bool
	readBack bool
}

var _ Root = (*S3)(nil)

// maxTries bounds how often one request is tried; with the waits between them
// that is a few seconds. Longer troubles are for the next round.
const maxTries = 4

// OpenS3 prepares to use a bucket. It sends nothing: the first request tells
// whether anything is there.
func OpenS3(ctx context.Context, o S3Options) (*S3, error) {
	at, err := ParseAddress(o.URL, o.VirtualHost)
	if err != nil {
		return nil, err
	}
	transport := o.Transport
	if transport == nil {
		if transport, err = newTransport(o.CAFile); err != nil {
			return nil, err
		}
	}
	if o.Silence == 0 {
		o.Silence = silence
	}
	lookup := minio.BucketLookupPath
	if o.VirtualHost {
		lookup = minio.BucketLookupDNS
	}
	core, err := minio.NewCore(at.Endpoint, &minio.Options{
		Creds:        credentials.NewStaticV4(o.Access, o.Secret, o.Session),
		Secure:       at.Secure,
		Transport:    s3Only{patience{transport, o.Silence}},
		Region:       o.Region,
		BucketLookup: lookup,
		MaxRetries:   maxTries,
	})
	if err != nil {
		return nil, fmt.Errorf("%s: %v: %w", at, err, ErrBadAddress)
	}
	return &S3{at: at, core: core, fence: o.Fence, readBack: o.ReadBack}, nil
}

func (s *S3) Name() string { return s.at.String() }
func (s *S3) Kind() string { return "s3" }
func (s *S3) Close() error { return nil }

func (s *S3) Identity(ctx context.Context) (Identity, error) { return readIdentity(ctx, s) }
func (s *S3) Init(ctx context.Context, id Identity) error    { return initRoot(ctx, s, id) }
func (s *S3) full(key string) string                         { return s.at.Prefix + key }
func (s *S3) OpenFresh(ctx context.Context, key string) (io.ReadCloser, Info, error) {
	return s.Open(ctx, key)
}

var (
	inUseMu sync.Mutex
	inUse   = map[string]bool{} // addresses that a round of this process writes to
)

// Lock keeps this process's rounds out of each other's way. Other machines are
// held off by author.json.
func (s *S3) Lock(ctx context.Context) (unlock func(), err error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	inUseMu.Lock()
	defer inUseMu.Unlock()
	name := s.Name()
	if inUse[name] {
		return nil, fmt.Errorf("%s: another round is writing to it: %w", name, ErrBusy)
	}
	inUse[name] = true
	return sync.OnceFunc(func() {
		inUseMu.Lock()
		defer inUseMu.Unlock()
		delete(inUse, name)
	}), nil
}

func (s *S3) Stat(ctx context.Context, key string) (Info, error) {
	if err := checkKey(key); err != nil {
		return Info{}, err
	}
	stat, err := s.core.StatObject(ctx, s.at.Bucket, s.full(key), checksumMode())
	if err != nil {
		return Info{}, s.fail("looking at", key, err)
	}
	return infoOf(key, stat), nil
}

// checksumMode asks the service to report the checksum it keeps. The header is
// set by itself: the option of the same name would also make the library check
// the body, which our callers do against the manifest.
func checksumMode() (o minio.GetObjectOptions) {
	o.Set("x-amz-checksum-mode", "ENABLED")
	return o
}

func infoOf(key string, o minio.ObjectInfo) Info {
	return Info{Key: key, Size: o.Size, Modified: o.LastModified, ETag: o.ETag, SHA256: reported(o.ChecksumSHA256, o.ChecksumMode)}
}

func (s *S3) List(ctx context.Context, prefix string) iter.Seq2[Info, error] {
	return func(yield func(Info, error) bool) {
		if err := s.checkPrefix(prefix); err != nil {
			yield(Info{}, err)
			return
		}
		for o := range s.core.ListObjectsIter(ctx, s.at.Bucket, minio.ListObjectsOptions{Prefix: s.below(prefix), Recursive: true}) {
			if o.Err != nil {
				yield(Info{}, s.fail("listing", prefix, o.Err))
				return
			}
			key := strings.TrimPrefix(o.Key, s.at.Prefix)
			if strings.HasSuffix(o.Key, "/") {
				continue // what some tools put in place of a folder; it has no bytes
			}
			if !yield(infoOf(key, o), nil) {
				return
			}
		}
		if err := ctx.Err(); err != nil {
			yield(Info{}, err)
		}
	}
}

func (s *S3) Folders(ctx context.Context, prefix string) ([]string, error) {
	if err := s.checkPrefix(prefix); err != nil {
		return nil, err
	}
	below := s.below(prefix)
	var names []string
	for o := range s.core.ListObjectsIter(ctx, s.at.Bucket, minio.ListObjectsOptions{Prefix: below}) {
		if o.Err != nil {
			return nil, s.fail("listing", prefix, o.Err)
		}
		if name, ok := strings.CutSuffix(strings.TrimPrefix(o.Key, below), "/"); ok && name != "" {
			names = append(names, name)
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	slices.Sort(names)
	return slices.Compact(names), nil
}

func (s *S3) checkPrefix(prefix string) error {
	if prefix == "" {
		return nil
	}
	return checkKey(prefix)
}

// below is the beginning of every key in a folder.
func (s *S3) below(prefix string) string {
	if prefix == "" {
		return s.at.Prefix
	}
	return s.full(prefix) + "/"
}

func (s *S3) Create(ctx context.Context, key string, c Content) (Info, error) {
	if err := checkKey(key); err != nil {
		return Info{}, err
	}
	return s.put(ctx, key, c, condition{absent: true})
}

func (s *S3) Replace(ctx context.Context, key string, c Content, was *Info) (Info, error) {
	if was == nil {
		return s.Create(ctx, key, c)
	}
	if err := checkKey(key); err != nil {
		return Info{}, err
	}
	if was.ETag == "" {
		return Info{}, fmt.Errorf("%s: replacing %s without knowing what is there: %w", s.Name(), key, ErrConflict)
	}
	return s.put(ctx, key, c, condition{etag: was.ETag})
}

// same reports whether key holds exactly the bytes of c: by the checksum the
// service reports, or by reading it.
func (s *S3) same(ctx context.Context, key string, c Content) (Info, bool, error) {
	info, err := s.Stat(ctx, key)
	if err != nil || info.Size != c.Size {
		return info, false, err
	}
	if info.SHA256.IsZero() {
		if _, info, err = digestOf(ctx, s, key, true); err != nil {
			return info, false, err
		}
	}
	return info, info.SHA256 == c.SHA256, nil
}

func (s *S3) conflict(key string) error {
	return fmt.Errorf("%s: %s is there already with other bytes, or was changed meanwhile; it was left as it is: %w", s.Name(), key, ErrConflict)
}
