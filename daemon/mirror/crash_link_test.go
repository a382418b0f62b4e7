package mirror

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/minio/minio-go/v7"

	"linecamp/daemon/config"
	"linecamp/daemon/link"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
)

// How a request fails.
const (
	faultRefused = iota // it never gets there
	faultCutUp          // its body is cut on the way; where it has none, as below
	faultLost           // it is carried out, and the answer is lost
	faultCutDown        // it is carried out, and the answer is cut short
	faults
)

var errLink = errors.New("the link broke")

// badLink counts requests and breaks one of them.
type badLink struct {
	mu    sync.Mutex
	at    int // the request to break; 0 for none
	fault int
	dies  func() // called with the break, after which nothing gets through; nil: the link recovers at once
	count int
	dead  bool
	what  string // the request that broke
}

// Break breaks the nth request from now.
func (l *badLink) Break(n, fault int, dies func()) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.at, l.fault, l.dies, l.count, l.dead, l.what = n, fault, dies, 0, false, ""
}

func (l *badLink) Broke() (what string, count int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.what, l.count
}

func (l *badLink) RoundTrip(r *http.Request) (*http.Response, error) {
	l.mu.Lock()
	if l.dead {
		l.mu.Unlock()
		return nil, errLink
	}
	l.count++
	now := l.at > 0 && l.count == l.at
	fault, dies := l.fault, l.dies
	if now {
		l.what = r.Method + " " + r.URL.Path
		l.dead = dies != nil
	}
	l.mu.Unlock()
	if !now {
		return http.DefaultTransport.RoundTrip(r)
	}
	if dies != nil { // before the answer is seen, and after the request was carried out
		defer dies()
		r = r.Clone(context.WithoutCancel(r.Context()))
	}
	body := r.Body != nil && r.Body != http.NoBody && r.ContentLength > 0
	switch {
	case fault == faultRefused:
		return nil, errLink
	case fault == faultCutUp && body:
		r = r.Clone(r.Context())
		r.Body = &cutBody{r.Body, r.ContentLength / 2}
		if resp, err := http.DefaultTransport.RoundTrip(r); err == nil {
			resp.Body.Close()
		}
		return nil, errLink
	}
	resp, err := http.DefaultTransport.RoundTrip(r)
	if err != nil {
		return nil, err
	}
	if fault == faultCutDown && resp.ContentLength > 0 && r.Method != http.MethodHead {
		resp.Body = &cutBody{resp.Body, resp.ContentLength / 2}
		return resp, nil
	}
	io.Copy(io.Discard, resp.Body)
	resp.Body.Close()
	return nil, errLink
}

// cutBody ends with an error after so many bytes.
type cutBody struct {
	io.ReadCloser
	left int64
}

func (b *cutBody) Read(p []byte) (int, error) {
	if b.left <= 0 {
		return 0, errLink
	}
	n, err := b.ReadCloser.Read(p[:min(int64(len(p)), b.left)])
	b.left -= int64(n)
	return n, err
}

var buckets atomic.Int64

// withBucket puts a bucket behind the drives, on a server in this process.
func (g *ground) withBucket(t testing.TB) *ground {
	g.server = s3test.Fake(t)
	var err error
	g.client, err = g.server.Client()
	must(t, err)
	w := &world{TB: t, g: g}
	w.load()
	c := w.openBucket()
	must(t, c.root.Init(context.Background(), store.Identity{ArchiveID: archiveID, Archive: archiveName, CopyID: c.id, Created: at}))
	g.keys = w.unload()
	g.markRead(t, c.id)
	return g
}

func (w *world) openBucket() *copyOf {
	srv := w.g.server
	url := srv.URL + "/" + w.bucket
	root, err := s3.Open(context.Background(), s3.Options{URL: url + "/" + archiveName, Region: srv.Region,
		Access: srv.Access, Secret: srv.Secret, Fence: true, Part: w.g.part, Transport: w.link, Memory: parts{w}})
	must(w, err)
	return &copyOf{name: "bucket", id: copyID(len(w.g.drives)), kind: "s3", path: url, root: root}
}

// parts remembers uploads in parts in the ledger, as a round's opener does.
type parts struct{ w *world }

func (p parts) link() *link.Link {
	return link.Of(config.Copy{ID: copyID(len(p.w.g.drives)), Kind: config.KindS3}, p.w.led, func() time.Time { return p.w.now })
}
func (p parts) Upload(key string) (string, error) { return p.link().Upload(key) }
func (p parts) Uploads() ([]string, error)        { return p.link().Uploads() }
func (p parts) SetUpload(key, text string) error  { return p.link().SetUpload(key, text) }

// load makes a bucket of what the ground has.
func (w *world) load() {
	if w.g.server == nil {
		return
	}
	w.link = &badLink{}
	w.bucket = fmt.Sprint("life-", buckets.Add(1))
	ctx := context.Background()
	_, err := w.g.server.Bucket(ctx, w.bucket)
	must(w, err)
	for key, b := range w.g.keys {
		d := manifest.Sum(b)
		c := store.Bytes(b)
		body, err := c.Open(ctx)
		must(w, err)
		_, err = w.g.client.PutObject(ctx, w.bucket, key, body, c.Size, "", d.String(), minio.PutObjectOptions{
			DisableContentSha256: true, UserMetadata: map[string]string{"sha256": d.String(), "x-amz-checksum-sha256": b64(d)}})
		must(w, err)
	}
}

// unload reads the bucket whole.
func (w *world) unload() map[string][]byte {
	ctx := context.Background()
	keys := map[string][]byte{}
	core := w.g.client
	for o := range core.ListObjectsIter(ctx, w.bucket, minio.ListObjectsOptions{Recursive: true}) {
		must(w, o.Err)
		body, _, _, err := core.GetObject(ctx, w.bucket, o.Key, minio.GetObjectOptions{})
		must(w, err)
		b, err := io.ReadAll(body)
		must(w, err)
		must(w, body.Close())
		keys[o.Key] = b
	}
	return keys
}
