// Package s3 keeps a copy below a prefix of an S3 bucket. [Open] prepares one, a
// [store.Root]; [Credentials] reads the keys it needs; [Bucket.Probe] tries what the
// service can do.
//
// S3 has no rename: each key of a version is created in the order of a commit
// (build.go), with the SHA-256 that the service has to check (put.go). Over a link that
// is dear the same bytes go once: a large file that was cut off goes on (resume.go), and
// an inventory is copied by the service to the top of its object (copied.go). A request is
// tried again only here ([Bucket] ask, tries.go), and given up only when nothing
// moves (patience.go).
package s3

import (
	"cmp"
	"context"
	"io"
	"net"
	"net/http"
	"sync"
	"time"

	"github.com/minio/minio-go/v7"
	"github.com/minio/minio-go/v7/pkg/credentials"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// Options says where a bucket is and how to get in.
type Options struct {
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
	// Page is how many keys [Bucket.Page] asks for; 0 is a thousand.
	Page int
	// Conn is given each connection made, and returns what is used in its place: to count
	// and slow what goes over it; nil is none.
	Conn func(net.Conn) net.Conn
	// Pause is asked before each part of a large file. Its error ends the upload there;
	// what arrived stays, and the next one goes on with it. nil never does.
	Pause func() error
	// Memory is of uploads in parts; without one, what ends is begun anew.
	Memory Memory
	// Transport takes the place of the network, for tests; nil is the real one.
	Transport http.RoundTripper
}

// Bucket is a root below a prefix of a bucket.
type Bucket struct {
	at        Address
	core      *minio.Core
	fence     bool
	readBack  bool
	anyRegion bool // nobody said which; the library learns it from the first refusal

	single, part int64 // the largest body of one PUT, and of a part
	page         int   // keys of a Page
	pause        func() error
	memory       Memory // of uploads in parts; nil for none
}

var _ store.Root = (*Bucket)(nil)

// Can is what every bucket can do.
var Can = store.Abilities{Kind: "s3", OCFL: true, HoldsFirst: true, Metered: true, Shared: true, Tagged: true, Confirms: true}

func (s *Bucket) Can() store.Abilities { return Can }

// Open prepares to use a bucket. It sends nothing: the first request tells
// whether anything is there.
func Open(ctx context.Context, o Options) (*Bucket, error) {
	at, err := ParseAddress(o.URL, o.VirtualHost)
	if err != nil {
		return nil, err
	}
	transport := o.Transport
	if transport == nil {
		if transport, err = newTransport(o.CAFile, o.Conn); err != nil {
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
		return nil, fault.Say(store.ErrBadAddress, "%s: %v", at, err)
	}
	return &Bucket{at: at, core: core, fence: o.Fence, readBack: o.ReadBack, anyRegion: o.Region == "",
		single: cmp.Or(o.Part, singlePut), part: cmp.Or(o.Part, partSize), page: cmp.Or(o.Page, pageSize), pause: o.Pause, memory: o.Memory}, nil
}

func (s *Bucket) Name() string { return s.at.String() }
func (s *Bucket) Close() error { return nil }

func (s *Bucket) Identity(ctx context.Context) (store.Identity, error) {
	return store.ReadIdentity(ctx, s)
}
func (s *Bucket) Init(ctx context.Context, id store.Identity) error {
	return store.InitRoot(ctx, s, id)
}
func (s *Bucket) full(key string) string { return s.at.Prefix + key }
func (s *Bucket) OpenFresh(ctx context.Context, key string) (io.ReadCloser, store.Info, error) {
	return s.Open(ctx, key)
}

var (
	inUseMu sync.Mutex
	inUse   = map[string]bool{} // addresses that a round of this process writes to
)

// Lock keeps this process's rounds out of each other's way. Other machines are
// held off by author.json.
func (s *Bucket) Lock(ctx context.Context) (unlock func(), err error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	inUseMu.Lock()
	defer inUseMu.Unlock()
	name := s.Name()
	if inUse[name] {
		return nil, fault.Say(store.ErrBusy, "%s: another round is writing to it", name)
	}
	inUse[name] = true
	return sync.OnceFunc(func() {
		inUseMu.Lock()
		defer inUseMu.Unlock()
		delete(inUse, name)
	}), nil
}

func (s *Bucket) Stat(ctx context.Context, key string) (store.Info, error) {
	if err := store.CheckKey(key); err != nil {
		return store.Info{}, err
	}
	var stat minio.ObjectInfo
	err := s.ask(ctx, func() (err error) {
		stat, err = s.core.StatObject(ctx, s.at.Bucket, s.full(key), checksumMode())
		return err
	})
	if err != nil {
		return store.Info{}, s.fail("looking at", key, err)
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

func infoOf(key string, o minio.ObjectInfo) store.Info {
	info := store.Info{Key: key, Size: o.Size, Modified: o.LastModified, ETag: o.ETag, SHA256: reported(o.ChecksumSHA256, o.ChecksumMode)}
	info.Claimed, _ = manifest.ParseDigest(o.UserMetadata["Sha256"]) // absent, or no digest: none
	return info
}

func (s *Bucket) Create(ctx context.Context, key string, c store.Content) (store.Info, error) {
	if err := store.CheckKey(key); err != nil {
		return store.Info{}, err
	}
	return s.put(ctx, key, c, condition{absent: true})
}

func (s *Bucket) Replace(ctx context.Context, key string, c store.Content, was *store.Info) (store.Info, error) {
	if was == nil {
		return s.Create(ctx, key, c)
	}
	if err := store.CheckKey(key); err != nil {
		return store.Info{}, err
	}
	if was.ETag == "" {
		return store.Info{}, fault.Say(store.ErrConflict, "%s: replacing %s without knowing what is there", s.Name(), key)
	}
	return s.put(ctx, key, c, condition{etag: was.ETag})
}

// same reports whether key holds exactly the bytes of c: by the checksum the
// service reports, or by reading it.
func (s *Bucket) same(ctx context.Context, key string, c store.Content) (store.Info, bool, error) {
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
func (s *Bucket) readDigest(ctx context.Context, key string) (store.Info, error) {
	_, first, err := store.DigestOf(ctx, s, key, true)
	if err != nil || first.SHA256 == first.Claimed {
		return first, err
	}
	_, second, err := store.DigestOf(ctx, s, key, true)
	if err == nil && second.SHA256 != first.SHA256 {
		err = fault.Say(store.ErrDigest, "%s: %s read differently twice, so the connection may be at fault", s.Name(), key)
	}
	return second, err
}

func (s *Bucket) conflict(key string) error {
	return fault.Say(store.ErrConflict, "%s: %s is there already with other bytes, or was changed meanwhile; it was left as it is", s.Name(), key)
}
