package store

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"net/http"
	"sync"
	"time"

	"github.com/minio/minio-go/v7"
	"github.com/minio/minio-go/v7/pkg/credentials"

	"linecamp/manifest"
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
	// Part is the largest body sent at once, for tests; 0 is 64 MiB, and 16 MiB of
	// a file that is larger.
	Part int64
	// Page is how many keys [S3.Page] asks for, for tests; 0 is a thousand.
	Page int
	// Transport takes the place of the network, for tests; nil is the real one.
	Transport http.RoundTripper
}

// S3 is a root below a prefix of a bucket.
type S3 struct {
	at        Address
	core      *minio.Core
	fence     bool
	readBack  bool
	anyRegion bool // nobody said which; the library learns it from the first refusal

	single, part int64 // the largest body of one PUT, and of a part
	page         int   // keys of a Page
}

var _ Root = (*S3)(nil)

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
		Transport:    paged{s3Only{patience{transport, o.Silence}}},
		Region:       o.Region,
		BucketLookup: lookup,
		MaxRetries:   1, // trying again is ours: see ask
	})
	if err != nil {
		return nil, fmt.Errorf("%s: %v: %w", at, err, ErrBadAddress)
	}
	return &S3{at: at, core: core, fence: o.Fence, readBack: o.ReadBack, anyRegion: o.Region == "",
		single: cmp.Or(o.Part, singlePut), part: cmp.Or(o.Part, partSize), page: cmp.Or(o.Page, pageSize)}, nil
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
	var stat minio.ObjectInfo
	err := s.ask(ctx, func() (err error) {
		stat, err = s.core.StatObject(ctx, s.at.Bucket, s.full(key), checksumMode())
		return err
	})
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
	info := Info{Key: key, Size: o.Size, Modified: o.LastModified, ETag: o.ETag, SHA256: reported(o.ChecksumSHA256, o.ChecksumMode)}
	info.claimed, _ = manifest.ParseDigest(o.UserMetadata["Sha256"]) // absent, or no digest: none
	return info
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
		if info, err = s.readDigest(ctx, key); err != nil {
			return info, false, err
		}
	}
	return info, info.SHA256 == c.SHA256, nil
}

// readDigest reads a key whose digest the service does not report. What comes
// is believed if it is what the key's own metadata says or comes twice: what a
// link changed on the way must not get into a manifest.
func (s *S3) readDigest(ctx context.Context, key string) (Info, error) {
	_, first, err := digestOf(ctx, s, key, true)
	if err != nil || first.SHA256 == first.claimed {
		return first, err
	}
	_, second, err := digestOf(ctx, s, key, true)
	if err == nil && second.SHA256 != first.SHA256 {
		err = fmt.Errorf("%s: %s read differently twice, so the connection may be at fault: %w", s.Name(), key, ErrDigest)
	}
	return second, err
}

func (s *S3) conflict(key string) error {
	return fmt.Errorf("%s: %s is there already with other bytes, or was changed meanwhile; it was left as it is: %w", s.Name(), key, ErrConflict)
}
