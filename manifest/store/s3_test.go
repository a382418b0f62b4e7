package store_test

import (
	"bytes"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/minio/minio-go/v7"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
)

// servers runs a test against both S3 servers.
func servers(t *testing.T, test func(*testing.T, *s3test.Server)) {
	t.Run("fake", func(t *testing.T) { test(t, s3test.Fake(t)) })
	t.Run("real", func(t *testing.T) { test(t, s3test.Real(t)) })
}

// manyBytes are bytes without a pattern that a part could repeat.
func manyBytes(n int) []byte {
	b := make([]byte, n)
	x := uint64(2463534242)
	for i := range b {
		x ^= x << 13
		x ^= x >> 7
		x ^= x << 17
		b[i] = byte(x)
	}
	return b
}

func TestS3LargeFile(t *testing.T) {
	big := manyBytes(64<<20 + 12345)
	servers(t, func(t *testing.T, srv *s3test.Server) {
		p := s3Place(t, srv, nil)
		ctx, r := t.Context(), p.made(t)
		b, err := r.Begin(ctx, object, 1)
		must(t, err)
		const key = "v1/content/pano.tif"
		wrong := store.Bytes(big)
		wrong.SHA256[0] ^= 1
		_, err = b.Put(ctx, key, wrong)
		wantErr(t, err, store.ErrDigest)
		if _, ok := p.read(object + "/" + key); ok {
			t.Fatal("bytes that are not the manifest's were kept")
		}
		info, err := b.Put(ctx, key, store.Bytes(big))
		must(t, err)
		if info.Size != int64(len(big)) {
			t.Errorf("size %d", info.Size)
		}
		_, err = b.Put(ctx, key, store.Bytes(big)) // create-only, and the same bytes
		must(t, err)
		other := slices.Clone(big)
		other[len(other)-1] ^= 1
		_, err = b.Put(ctx, key, store.Bytes(other))
		wantErr(t, err, store.ErrConflict)
		if got := readAll(t, r, object+"/"+key); !bytes.Equal(got, big) {
			t.Error("it reads back differently")
		}
		b, err = p.open().Begin(ctx, object, 1)
		must(t, err)
		if b.Found()[key].SHA256 != manifest.Sum(big) {
			t.Errorf("found %v", b.Found()[key])
		}
		raw, err := srv.Client()
		must(t, err)
		bucket := strings.Split(r.Name(), "/")[3]
		left, err := raw.ListMultipartUploads(ctx, bucket, "", "", "", "", 10)
		must(t, err)
		if len(left.Uploads) > 0 {
			t.Errorf("%d uploads were left open", len(left.Uploads))
		}
	})
}

// Every key must say its SHA-256, and the server must have checked it.
func TestS3ChecksumOnEveryKey(t *testing.T) {
	servers(t, func(t *testing.T, srv *s3test.Server) {
		p := s3Place(t, srv, nil)
		r, s := p.made(t), newSite()
		s.store(t, r, s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18", "2018/none.txt": ""}))
		raw, err := srv.Client()
		must(t, err)
		u, err := url.Parse(r.Name())
		must(t, err)
		bucket, prefix, _ := strings.Cut(u.Path[1:], "/")
		for _, k := range keys(t, r, "") {
			want := manifest.Sum(readAll(t, r, k))
			info, err := r.Stat(t.Context(), k)
			must(t, err)
			if info.SHA256 != want {
				t.Errorf("%s: the server reports %v", k, info.SHA256)
			}
			stat, err := raw.Client.StatObject(t.Context(), bucket, prefix+"/"+k, minio.StatObjectOptions{})
			must(t, err)
			if got := stat.Metadata.Get("x-amz-meta-sha256"); got != want.String() {
				t.Errorf("%s: x-amz-meta-sha256 is %q", k, got)
			}
		}
	})
}

// A write that succeeded, whose response was lost, must not look like another
// machine's write.
func TestS3LostResponse(t *testing.T) {
	servers(t, func(t *testing.T, srv *s3test.Server) {
		var lose atomic.Bool
		p := s3Place(t, srv, func(o *s3.Options) {
			o.Transport = roundTripper(func(r *http.Request) (*http.Response, error) {
				resp, err := http.DefaultTransport.RoundTrip(r)
				if err == nil && r.Method == http.MethodPut && lose.Swap(false) {
					resp.Body.Close()
					return nil, io.ErrUnexpectedEOF
				}
				return resp, err
			})
		})
		ctx, r := t.Context(), p.made(t)
		lose.Store(true)
		_, err := r.Create(ctx, "a", store.Bytes([]byte("one")))
		must(t, err)
		_, was, err := store.ReadSmall(ctx, r, "a", 10)
		must(t, err)
		lose.Store(true)
		_, err = r.Replace(ctx, "a", store.Bytes([]byte("two")), &was)
		must(t, err)
		if lose.Load() {
			t.Fatal("no response was lost")
		}
		s := newSite()
		lose.Store(true)
		s.store(t, r, s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18"}))
		s.intact(t, r)
	})
}

// A byte flipped on the way up is refused by the server and sent again; one
// that is always flipped ends in an error, and nothing is kept.
func TestS3FlippedOnTheWayUp(t *testing.T) {
	servers(t, func(t *testing.T, srv *s3test.Server) {
		var flips atomic.Int64
		p := s3Place(t, srv, func(o *s3.Options) {
			o.Transport = changeRequest(func(r request) {
				if r.Method != http.MethodPut || flips.Add(-1) < 0 {
					return
				}
				b, _ := io.ReadAll(r.Body)
				b[len(b)/2] ^= 0x40
				r.Body = io.NopCloser(bytes.NewReader(b))
			})
		})
		ctx, r := t.Context(), p.made(t)
		flips.Store(1)
		_, err := r.Create(ctx, "a", store.Bytes(manyBytes(100_000)))
		must(t, err)
		if got := readAll(t, r, "a"); !bytes.Equal(got, manyBytes(100_000)) {
			t.Error("flipped bytes were kept")
		}
		flips.Store(100)
		_, err = r.Create(ctx, "b", store.Bytes(manyBytes(100_000)))
		wantErr(t, err, store.ErrDigest)
		if _, ok := p.read("b"); ok {
			t.Error("flipped bytes were kept")
		}
	})
}

// A service that checks nothing: the upload is read back.
func TestS3ReadBack(t *testing.T) {
	srv := s3test.Fake(t)
	var flip atomic.Bool
	p := s3Place(t, srv, func(o *s3.Options) {
		o.ReadBack = true
		o.Transport = changeRequest(func(r request) {
			if r.Method != http.MethodPut {
				return
			}
			r.Header.Del("X-Amz-Checksum-Sha256")
			r.Header.Set("X-Amz-Content-Sha256", "UNSIGNED-PAYLOAD")
			if flip.Load() {
				b, _ := io.ReadAll(r.Body)
				b[0] ^= 1
				r.Body = io.NopCloser(bytes.NewReader(b))
			}
		})
	})
	r := p.made(t)
	flip.Store(true)
	_, err := r.Create(t.Context(), "a", store.Bytes([]byte("plot 18")))
	wantErr(t, err, store.ErrDigest)
}

func TestS3Probe(t *testing.T) {
	servers(t, func(t *testing.T, srv *s3test.Server) {
		ctx := t.Context()
		probe := func(t *testing.T, p *place) s3.Tried {
			t.Helper()
			r := p.open().(*s3.Bucket)
			for range 2 { // the second finds what the first may have left
				a, err := r.Probe(ctx)
				must(t, err)
				if len(keys(t, r, "")) > 1 {
					t.Errorf("the probe left %q", keys(t, r, ""))
				}
				if a != must1(r.Probe(ctx))(t) {
					t.Error("two probes differ")
				}
			}
			a, err := r.Probe(ctx)
			must(t, err)
			return a
		}
		all := s3.Tried{CreateOnly: true, IfMatch: true, Checksum: true, Reports: true, VersioningKnown: true, Deletes: true, DeletesKnown: true}
		p := s3Place(t, srv, nil)
		if a := probe(t, p); a != all {
			t.Errorf("%+v", a)
		}
		r := p.open()
		if k := keys(t, r, ""); len(k) != 0 {
			t.Errorf("the probe left %q", k)
		}
		raw, err := srv.Client()
		must(t, err)
		must(t, raw.EnableVersioning(ctx, strings.Split(r.Name(), "/")[3]))
		versioned := all
		versioned.Versioning = true
		if a := probe(t, p); a != versioned {
			t.Errorf("versioned: %+v", a)
		}
		must(t, r.Init(ctx, testID))

		noDelete := s3Place(t, srv, func(o *s3.Options) {
			o.Transport = roundTripper(func(r *http.Request) (*http.Response, error) {
				if r.Method == http.MethodDelete {
					return answer(r, http.StatusForbidden, "application/xml", "<Error><Code>AccessDenied</Code></Error>"), nil
				}
				return http.DefaultTransport.RoundTrip(r)
			})
		})
		kept := all
		kept.Deletes = false
		if a := probe(t, noDelete); a != kept {
			t.Errorf("without the right to delete: %+v", a)
		}
		must(t, noDelete.open().Init(ctx, testID)) // its one key is no obstacle
		if srv.Checks {
			return // headers are signed: a service that ignores them is played by the fake only
		}
		if a := probe(t, s3Place(t, srv, func(o *s3.Options) {
			o.Transport = changeRequest(func(r request) {
				r.Header.Del("If-None-Match")
				r.Header.Del("If-Match")
			})
		})); a.CreateOnly || a.IfMatch || !a.Checksum {
			t.Errorf("without conditional writes: %+v", a)
		}
		if a := probe(t, s3Place(t, srv, func(o *s3.Options) {
			o.Transport = changeRequest(func(r request) { r.Header.Del("X-Amz-Checksum-Sha256") })
		})); a.Checksum || a.Reports || !a.CreateOnly {
			t.Errorf("without checksums: %+v", a)
		}
	})
}

// The bucket in the host name: the same requests under another name.
func TestS3VirtualHost(t *testing.T) {
	srv := s3test.Fake(t)
	at, err := url.Parse(srv.URL)
	must(t, err)
	p := s3Place(t, srv, func(o *s3.Options) {
		u, err := url.Parse(o.URL)
		must(t, err)
		bucket, prefix, _ := strings.Cut(u.Path[1:], "/")
		o.URL = "https://" + bucket + ".s3.example.net/" + prefix
		o.VirtualHost = true
		o.Transport = changeRequest(func(r request) {
			if r.URL.Host != bucket+".s3.example.net" || r.URL.Scheme != "https" {
				t.Errorf("a request went to %s", r.URL)
			}
			r.URL.Scheme, r.URL.Host, r.Host = "http", at.Host, at.Host
			r.URL.RawPath = "/" + bucket + r.URL.EscapedPath()
			r.URL.Path = "/" + bucket + r.URL.Path
		})
	})
	if name := p.open().Name(); !strings.HasPrefix(name, "https://monitoring-") || !strings.HasSuffix(name, ".s3.example.net/ranches/saltbush%20draw") {
		t.Errorf("it is called %s", name)
	}
	testVersions(t, p)
}

func answer(r *http.Request, status int, kind, body string) *http.Response {
	return &http.Response{StatusCode: status, Status: http.StatusText(status), Header: http.Header{"Content-Type": {kind}},
		Body: io.NopCloser(strings.NewReader(body)), ContentLength: int64(len(body)), Request: r, ProtoMajor: 1, ProtoMinor: 1}
}

func TestFakeKeepsItsFolder(t *testing.T) {
	dir := t.TempDir()
	srv, err := s3test.StartFake(dir)
	must(t, err)
	url, err := srv.Bucket(t.Context(), "practice")
	must(t, err)
	open := func(srv *s3test.Server) store.Root {
		s, err := s3.Open(t.Context(), s3.Options{URL: srv.URL + url[strings.LastIndex(url, "/"):] + "/p", Region: srv.Region, Access: srv.Access, Secret: srv.Secret, Fence: true})
		must(t, err)
		return s
	}
	r, s := open(srv), newSite()
	must(t, r.Init(t.Context(), testID))
	s.store(t, r, s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18"}))
	must(t, srv.Close())
	if b, err := os.ReadFile(filepath.Join(dir, "practice", "p", object, "v1", "content", "2018", "plot.jpg")); err != nil || string(b) != "plot 18" {
		t.Errorf("on disk: %q, %v", b, err)
	}
	srv, err = s3test.StartFake(dir)
	must(t, err)
	defer srv.Close()
	r = open(srv)
	s.intact(t, r)
	s.store(t, r, s.next(t, nil, map[string]string{"2019/plot.jpg": "plot 19"}))
	s.intact(t, r)
}

func must1[T any](v T, err error) func(testing.TB) T {
	return func(t testing.TB) T { t.Helper(); must(t, err); return v }
}
