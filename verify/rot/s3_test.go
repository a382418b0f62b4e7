package rot_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/minio/minio-go/v7"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
	"linecamp/verify"
	"linecamp/verify/rot"
	"linecamp/verify/verifytest"
)

// bucket is a ranch whose only copy is in a bucket.
type bucket struct {
	*verifytest.Ranch
	srv *s3test.Server
	raw *minio.Core
	o   s3.Options
}

func newBucket(t *testing.T, srv *s3test.Server) *bucket {
	t.Helper()
	ctx := context.Background()
	url, err := srv.Bucket(ctx, "monitoring")
	if err != nil {
		t.Fatal(err)
	}
	raw, err := srv.Client()
	if err != nil {
		t.Fatal(err)
	}
	b := &bucket{Ranch: verifytest.New(t, 0), srv: srv, raw: raw,
		o: s3.Options{URL: url, Region: srv.Region, Access: srv.Access, Secret: srv.Secret, Fence: true}}
	root, err := s3.Open(ctx, b.o)
	if err != nil {
		t.Fatal(err)
	}
	id := "00000000-0000-4000-8000-000000000009"
	if err := root.Init(ctx, store.Identity{ArchiveID: "11111111-1111-4111-8111-111111111111", Archive: verifytest.Archive, CopyID: id, Created: verifytest.Day(2009, 1, 1)}); err != nil {
		t.Fatal(err)
	}
	b.Copies = append(b.Copies, verify.Copy{Name: "bucket", ID: id, Root: root})
	b.Version(verifytest.Stake, verifytest.Day(2020, 7, 1), verifytest.Visits(2019, 2020))
	b.Version(verifytest.Stake, verifytest.Day(2021, 7, 1), verifytest.Visits(2019, 2020, 2021))
	return b
}

// put writes a key behind linecamp's back.
func (b *bucket) put(t *testing.T, key string, body []byte) {
	t.Helper()
	if _, err := b.raw.Client.PutObject(context.Background(), "monitoring", key, bytes.NewReader(body), int64(len(body)), minio.PutObjectOptions{}); err != nil {
		t.Fatal(err)
	}
}

// counting is a root that notes what is downloaded.
type counting struct {
	store.Root
	mu    sync.Mutex
	opens []string
	stats int
}

func (c *counting) OpenFresh(ctx context.Context, key string) (io.ReadCloser, store.Info, error) {
	c.mu.Lock()
	c.opens = append(c.opens, key)
	c.mu.Unlock()
	return c.Root.OpenFresh(ctx, key)
}

func (c *counting) Stat(ctx context.Context, key string) (store.Info, error) {
	c.mu.Lock()
	c.stats++
	c.mu.Unlock()
	return c.Root.Stat(ctx, key)
}

// photos are the downloaded keys that are people's.
func (c *counting) photos() int {
	n := 0
	for _, k := range c.opens {
		if strings.Contains(k, "/content/2") {
			n++
		}
	}
	return n
}

func s3Servers(t *testing.T, test func(*testing.T, *s3test.Server)) {
	t.Run("fake", func(t *testing.T) { test(t, s3test.Fake(t)) })
	t.Run("real", func(t *testing.T) { test(t, s3test.Real(t)) })
}

func TestRotS3(t *testing.T) {
	s3Servers(t, func(t *testing.T, srv *s3test.Server) {
		b := newBucket(t, srv)
		mem := &verifytest.Memory{}
		root := &counting{Root: b.Copies[0].Root}
		c := verify.Copy{Name: "bucket", ID: b.Copies[0].ID, Root: root}
		now := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
		o := b.Options()
		o.Memory = mem
		o.Now = func() time.Time { now = now.Add(time.Hour); return now }

		// Nothing is known yet: a quick check asks the service for what it confirmed.
		o.Quick = true
		rep := checked(t, c, o)
		if len(rep.Damage) != 0 || rep.Confirmed.Files != 9 || rep.ReadBack.Files != 0 || root.photos() != 0 {
			t.Fatalf("first quick: %+v, downloaded %q", rep, root.opens)
		}
		// Then the listing is enough: no photo and no manifest is asked for again.
		root.opens, root.stats = nil, 0
		rep = checked(t, c, o)
		if rep.Confirmed.Files != 9 || len(root.opens) != 0 || root.stats != 0 || rep.Downloaded != 0 {
			t.Fatalf("second quick: %+v, downloaded %q, asked about %d", rep, root.opens, root.stats)
		}

		// An allowance for about half, longest unread first.
		o.Quick = false
		for _, body := range b.Bytes { // room for the largest file, which is a record, not for all
			o.Allowance = max(o.Allowance, 0, int64(len(body)))
		}
		rep = checked(t, c, o)
		first := rep.ReadBack.Files
		if first > 8 || rep.Confirmed.Files != 9-first || rep.Downloaded > o.Allowance || rep.Downloaded == 0 || rep.Unread.Files != 0 {
			t.Fatalf("within the allowance: %+v of %d", rep, o.Allowance)
		}
		seen := map[string]bool{}
		for _, k := range root.opens {
			seen[k] = true
		}
		for range 6 { // sooner or later each is read, none twice before all are
			root.opens = nil
			checked(t, c, o)
			for _, k := range root.opens {
				seen[k] = true
			}
		}
		for d, paths := range b.Heads[verifytest.Stake.Slug].Content {
			if !seen[verifytest.Stake.Slug+"/"+paths[0]] {
				t.Errorf("%v %s was never read", d, paths[0])
			}
		}
		// No allowance at all: everything is confirmed, nothing downloaded.
		o.Allowance = 0
		root.opens = nil
		if rep = checked(t, c, o); rep.Confirmed.Files != 9 || len(root.opens) != 0 || rep.Downloaded != 0 {
			t.Errorf("without allowance: %+v %q", rep, root.opens)
		}
		// No limit.
		o.Allowance = -1
		if rep = checked(t, c, o); rep.ReadBack.Files != 9 || len(rep.Damage) != 0 {
			t.Errorf("without limit: %+v", rep)
		}
	})
}

func TestRotS3Damage(t *testing.T) {
	s3Servers(t, func(t *testing.T, srv *s3test.Server) {
		b := newBucket(t, srv)
		c := b.Copies[0]
		mem := &verifytest.Memory{}
		o := b.Options()
		o.Memory = mem
		if rep := checked(t, c, o); rep.ReadBack.Files != 9 {
			t.Fatalf("%+v", rep)
		}
		plot := b.Key(verifytest.Stake.Slug, "2019-06-21/plot.jpg")
		body := slices.Clone(b.Bytes[b.Heads[verifytest.Stake.Slug].State(2)["2019-06-21/plot.jpg"]])
		body[3] ^= 1
		b.put(t, plot, body)
		notes := b.Key(verifytest.Stake.Slug, "2020-06-21/notes.txt")
		if err := b.raw.RemoveObject(context.Background(), "monitoring", notes, minio.RemoveObjectOptions{}); err != nil {
			t.Fatal(err)
		}
		b.put(t, verifytest.Stake.Slug+"/v1/content/stray.jpg", []byte("x"))
		short := b.Key(verifytest.Stake.Slug, "2021-06-21/plot.jpg")
		b.put(t, short, []byte("x"))
		want := []string{"altered Windmill/Stake 3/2019-06-21/plot.jpg v2", "gone Windmill/Stake 3/2020-06-21/notes.txt v2",
			"altered Windmill/Stake 3/2021-06-21/plot.jpg v2", "stray windmill--stake-3/v1/content/stray.jpg v0"}
		for _, quick := range []bool{true, false} {
			o.Quick = quick
			if got := found(checked(t, c, o)); !slices.Equal(got, want) {
				t.Errorf("quick %v: found %q", quick, got)
			}
		}
		// The same bytes put again by someone: another ETag or none of ours, and no damage.
		good := b.Bytes[b.Heads[verifytest.Stake.Slug].State(2)["2019-06-21/plot.jpg"]]
		b.put(t, plot, good)
		for _, quick := range []bool{true, false} {
			o.Quick = quick
			if got := found(checked(t, c, o)); !slices.Equal(got, want[1:]) {
				t.Errorf("quick %v: found %q", quick, got)
			}
		}
	})
}

// A bucket that no longer answers is one error, not a list of lost photos.
func TestRotS3OutOfReach(t *testing.T) {
	b := newBucket(t, s3test.Fake(t))
	line := &cut{after: -1}
	b.o.Transport = line
	root, err := s3.Open(context.Background(), b.o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	for _, after := range []int64{0, 3, 12} {
		line.after = after
		rep, err := rot.Check(ctx, verify.Copy{Name: "bucket", ID: b.Copies[0].ID, Root: root}, b.Options())
		if !errors.Is(err, store.ErrUnreachable) || len(rep.Damage) != 0 {
			t.Errorf("cut after %d requests: %v, %+v", after, err, rep)
		}
	}
}

// cut is a network that ends after some requests; below 0 it does not.
type cut struct {
	mu    sync.Mutex
	after int64
}

func (c *cut) RoundTrip(req *http.Request) (*http.Response, error) {
	c.mu.Lock()
	dead := c.after == 0
	if c.after > 0 {
		c.after--
	}
	c.mu.Unlock()
	if dead {
		return nil, &net.OpError{Op: "dial", Net: "tcp", Err: syscall.ECONNREFUSED}
	}
	return http.DefaultTransport.RoundTrip(req)
}

// other is a service that keeps another digest than the one it was given.
type other struct{ store.Root }

func (o other) Stat(ctx context.Context, key string) (store.Info, error) {
	info, err := o.Root.Stat(ctx, key)
	info.SHA256 = manifest.Sum([]byte("something else"))
	return info, err
}

// A service that reports another digest is read, however little else changed.
func TestRotS3ReportsAnotherDigest(t *testing.T) {
	b := newBucket(t, s3test.Fake(t))
	c := b.Copies[0]
	o := b.Options()
	o.Memory = &verifytest.Memory{}
	if rep := checked(t, c, o); rep.ReadBack.Files != 9 {
		t.Fatalf("%+v", rep)
	}
	c.Root = other{c.Root}
	o.Quick = true
	if rep := checked(t, c, o); rep.Matched.Files != 0 || rep.ReadBack.Files != 9 || len(rep.Damage) != 0 {
		t.Errorf("%+v", rep)
	}
	o.Allowance = 0
	if rep := checked(t, c, o); rep.Matched.Files != 0 || rep.Unread.Files != 9 {
		t.Errorf("without allowance: %+v", rep)
	}
}

// rotted is a bucket in which bytes changed under their ETag.
type rotted struct {
	store.Root
	key string
}

func (r rotted) OpenFresh(ctx context.Context, key string) (io.ReadCloser, store.Info, error) {
	f, info, err := r.Root.OpenFresh(ctx, key)
	if err != nil || key != r.key {
		return f, info, err
	}
	defer f.Close()
	body, err := io.ReadAll(f)
	if err != nil {
		return nil, info, err
	}
	body[len(body)/2] ^= 1
	return io.NopCloser(bytes.NewReader(body)), info, nil
}

// What was read back once, and looks unchanged since, is read again within the allowance:
// the manifests and their sidecars too, of every version.
func TestRotS3ReadsManifestsAgain(t *testing.T) {
	b := newBucket(t, s3test.Fake(t))
	for _, file := range []string{"v1/inventory.json", "v1/inventory.json.sha256", "v2/inventory.json", "inventory.json", "inventory.json.sha256"} {
		c, o := b.Copies[0], b.Options()
		o.Memory, o.Allowance = &verifytest.Memory{}, 1<<20
		if rep := checked(t, c, o); rep.ReadBack.Files != 9 || len(rep.Damage) != 0 {
			t.Fatalf("%+v", rep)
		}
		c.Root = rotted{c.Root, verifytest.Stake.Slug + "/" + file}
		o.Allowance = 0
		if got := found(checked(t, c, o)); len(got) != 0 {
			t.Errorf("%s without allowance: %q", file, got)
		}
		o.Allowance = 1 << 20
		if !strings.Contains(file, "/") {
			for range 2 { // what is derived is no damage: the next round writes it
				if rep := checked(t, c, o); len(rep.Damage) != 0 || !slices.Equal(rep.Unfinished, []string{verifytest.Stake.Slug}) || rep.ReadBack.Files != 9 {
					t.Errorf("%s: %+v", file, rep)
				}
			}
			continue
		}
		want := []string{"altered .linecamp/inventory " + file[:2]}
		for range 2 { // and once it is known, it stays known
			if rep := checked(t, c, o); !slices.Equal(found(rep), want) || rep.Damage[0].Content != file || rep.ReadBack.Files != 9 {
				t.Errorf("%s: %q, %+v", file, found(rep), rep)
			}
		}
	}
}
