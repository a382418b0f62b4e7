package store_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"maps"
	"net/http"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"linecamp/manifest/store"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
)

type uploads map[string]string

func (m uploads) Upload(key string) (string, error) { return m[key], nil }
func (m uploads) SetUpload(key, text string) error  { m[key] = text; return nil }
func (m uploads) Uploads() ([]string, error) {
	maps.DeleteFunc(m, func(_, text string) bool { return text == "" })
	return slices.Collect(maps.Keys(m)), nil
}

type roundTrips func(*http.Request) (*http.Response, error)

func (f roundTrips) RoundTrip(r *http.Request) (*http.Response, error) { return f(r) }

// TestS3UploadInPartsGoesOn ends an upload after some of its parts, as a kill does, and
// has another process go on with it: only what is lacking is sent.
func TestS3UploadInPartsGoesOn(t *testing.T) {
	const part = 5 << 20 // the least that S3 takes of a part that is not the last
	big := manyBytes(3*part + 12345)
	other := bytes.Clone(big)
	other[part+7] ^= 1
	stopped := errors.New("stopped")
	for _, c := range []struct {
		name  string
		then  []byte
		lost  bool // what is known of the upload
		again int64
	}{
		{"same bytes", big, false, 2},
		{"other bytes", other, false, 4},
		{"nothing remembered", big, true, 4},
	} {
		t.Run(c.name, func(t *testing.T) {
			servers(t, func(t *testing.T, srv *s3test.Server) {
				p := s3Place(t, srv, nil)
				name := p.made(t).Name()
				var sent atomic.Int64
				memory := uploads{}
				open := func(pause func() error) store.Build {
					root, err := s3.Open(t.Context(), s3.Options{
						URL: srv.URL + "/" + strings.SplitN(name, "/", 4)[3], Access: srv.Access, Secret: srv.Secret, Region: srv.Region,
						Fence: true, Part: part, Memory: memory, Pause: pause,
						Transport: roundTrips(func(r *http.Request) (*http.Response, error) {
							if r.URL.Query().Has("partNumber") {
								sent.Add(1)
							}
							return http.DefaultTransport.RoundTrip(r)
						}),
					})
					must(t, err)
					b, err := root.Begin(t.Context(), object, 1)
					must(t, err)
					return b
				}
				const key = "v1/content/pano.tif"
				_, err := open(func() error {
					if sent.Load() == 2 {
						return stopped
					}
					return nil
				}).Put(t.Context(), key, store.Bytes(big))
				wantErr(t, err, stopped)
				if _, ok := p.read(object + "/" + key); ok {
					t.Fatal("half an upload was completed")
				}
				if c.lost {
					clear(memory)
				}
				sent.Store(0)
				_, err = open(nil).Put(t.Context(), key, store.Bytes(c.then))
				must(t, err)
				if got := sent.Load(); got != c.again {
					t.Errorf("%d parts were sent, want %d", got, c.again)
				}
				if got, _ := p.read(object + "/" + key); !bytes.Equal([]byte(got), c.then) {
					t.Error("it reads back differently")
				}
				for key, text := range memory {
					if text != "" {
						t.Errorf("%s is still remembered: %s", key, text)
					}
				}
				raw, err := srv.Client()
				must(t, err)
				left, err := raw.ListMultipartUploads(t.Context(), strings.Split(name, "/")[3], "", "", "", "", 10)
				must(t, err)
				if len(left.Uploads) > 0 {
					t.Errorf("%d uploads were left open", len(left.Uploads))
				}
			})
		})
	}
}

// TestS3UploadIsGivenUpWithItsVersion: a large file that is gone when its version is
// committed leaves no parts behind, once the version is whole, and those of other sites stay.
func TestS3UploadIsGivenUpWithItsVersion(t *testing.T) {
	servers(t, func(t *testing.T, srv *s3test.Server) {
		stopped, memory := errors.New("stopped"), uploads{}
		sent, last := 0, ""
		p := s3Place(t, srv, func(o *s3.Options) {
			o.Part, o.Memory = 5<<20, memory
			o.Transport = roundTrips(func(q *http.Request) (*http.Response, error) {
				last = q.Method
				return http.DefaultTransport.RoundTrip(q)
			})
			o.Pause = func() error {
				if sent++; sent%2 == 0 {
					return stopped
				}
				return nil
			}
		})
		r := p.made(t)
		for _, site := range []string{object, "north-draw--post-1"} {
			b, err := r.Begin(t.Context(), site, 1)
			must(t, err)
			_, err = b.Put(t.Context(), "v1/content/pano.tif", store.Bytes(manyBytes(11<<20)))
			wantErr(t, err, stopped)
		}
		s := newSite()
		s.store(t, r, s.next(t, nil, map[string]string{"notes.txt": "the picture is gone"}))
		if last != http.MethodDelete { // nothing of the version waits for it
			t.Errorf("the last request is %s", last)
		}
		keys, err := memory.Uploads()
		must(t, err)
		if want := []string{"north-draw--post-1/v1/content/pano.tif"}; !slices.Equal(keys, want) {
			t.Errorf("remembered are %q, want %q", keys, want)
		}
		raw, err := srv.Client()
		must(t, err)
		left, err := raw.ListMultipartUploads(t.Context(), strings.Split(r.Name(), "/")[3], "", "", "", "", 10)
		must(t, err)
		if len(left.Uploads) != 1 {
			t.Errorf("%d uploads are open, want 1", len(left.Uploads))
		}
	})
}

// TestS3UploadThatIsNotGoneOnWithLeavesNoParts: other credentials, a photo of other
// bytes, or a process that ended between a version's sidecar and the rest.
func TestS3UploadThatIsNotGoneOnWithLeavesNoParts(t *testing.T) {
	const key = "v1/content/pano.tif"
	stopped := errors.New("stopped")
	for _, c := range []string{"its parts may not be listed", "other bytes", "the process ended at the sidecar"} {
		t.Run(c, func(t *testing.T) {
			servers(t, func(t *testing.T, srv *s3test.Server) {
				p := s3Place(t, srv, nil)
				name, memory := p.made(t).Name(), uploads{}
				denies := func(*http.Request) bool { return false }
				open := func(pause func() error) *s3.Bucket {
					root, err := s3.Open(t.Context(), s3.Options{
						URL: srv.URL + "/" + strings.SplitN(name, "/", 4)[3], Access: srv.Access, Secret: srv.Secret, Region: srv.Region,
						Fence: true, Part: 5 << 20, Memory: memory, Pause: pause,
						Transport: roundTrips(func(r *http.Request) (*http.Response, error) {
							if denies(r) {
								body := "<Error><Code>AccessDenied</Code><Message>no</Message></Error>"
								return &http.Response{StatusCode: 403, Header: http.Header{"Content-Type": {"application/xml"}},
									Body: io.NopCloser(strings.NewReader(body)), ContentLength: int64(len(body)), Request: r}, nil
							}
							return http.DefaultTransport.RoundTrip(r)
						}),
					})
					must(t, err)
					return root
				}
				sent := 0
				b, err := open(func() error {
					if sent++; sent == 2 {
						return stopped
					}
					return nil
				}).Begin(t.Context(), object, 1)
				must(t, err)
				big := manyBytes(11 << 20)
				_, err = b.Put(t.Context(), key, store.Bytes(big))
				wantErr(t, err, stopped)
				// Nor may these credentials list uploads.
				lists := func(r *http.Request) bool { return r.Method == http.MethodGet && r.URL.Query().Has("uploads") }
				denies = lists
				switch c {
				case "its parts may not be listed":
					denies = func(r *http.Request) bool {
						return lists(r) || r.Method == http.MethodGet && r.URL.Query().Has("uploadId")
					}
				case "other bytes":
					big[7] ^= 1
				case "the process ended at the sidecar":
					s := newSite()
					r := open(nil)
					first := s.next(t, nil, map[string]string{"notes.txt": "the picture is gone"})
					kept := maps.Clone(memory)
					clear(memory) // so that nothing is given up, as where the process ended
					s.store(t, r, first)
					maps.Copy(memory, kept)
					s.store(t, r, s.next(t, nil, map[string]string{"notes.txt": "the next year"}))
					denies = func(*http.Request) bool { return false }
					noneOpen(t, srv, name)
					return
				}
				b, err = open(nil).Begin(t.Context(), object, 1)
				must(t, err)
				_, err = b.Put(t.Context(), key, store.Bytes(big))
				must(t, err)
				noneOpen(t, srv, name)
			})
		})
	}
}

// TestS3UploadInPartsGoesOnFromAnyRequest ends the process at each request of an upload
// in turn, before the service has it and after it did what was asked. The next process
// sends no part again that was answered, and leaves no upload open.
func TestS3UploadInPartsGoesOnFromAnyRequest(t *testing.T) {
	const key = "v1/content/pano.tif"
	servers(t, func(t *testing.T, srv *s3test.Server) {
		part := int64(64 << 10)
		if strings.HasSuffix(t.Name(), "real") {
			part = 5 << 20 // the least that S3 takes
		}
		big := manyBytes(int(2*part + 12345))
		for _, arrives := range []bool{false, true} {
			for at, over := 1, false; !over; at++ {
				p := s3Place(t, srv, nil)
				name, memory := p.made(t).Name(), uploads{}
				var parts, asked int
				put := func(kill int) error {
					ctx, cancel := context.WithCancel(t.Context())
					defer cancel()
					asked = 0
					root, err := s3.Open(ctx, s3.Options{
						URL: srv.URL + "/" + strings.SplitN(name, "/", 4)[3], Access: srv.Access, Secret: srv.Secret, Region: srv.Region,
						Fence: true, Part: part, Memory: memory,
						Transport: roundTrips(func(r *http.Request) (*http.Response, error) {
							if asked++; asked == kill && !arrives {
								cancel()
								return nil, ctx.Err()
							}
							resp, err := http.DefaultTransport.RoundTrip(r)
							if err == nil && r.URL.Query().Has("partNumber") {
								parts++
							}
							if asked == kill && err == nil {
								resp.Body.Close()
								cancel()
								return nil, ctx.Err()
							}
							return resp, err
						}),
					})
					must(t, err)
					b, err := root.Begin(ctx, object, 1)
					if err != nil {
						return err
					}
					_, err = b.Put(ctx, key, store.Bytes(big))
					return err
				}
				err := put(at)
				if over = err == nil; over && at < 6 {
					t.Fatalf("it took only %d requests", at-1)
				}
				must(t, put(0))
				if most := 3 + 1; parts > most || !arrives && parts > 3 {
					t.Errorf("ended at request %d, arrived %v: %d parts were sent", at, arrives, parts)
				}
				if got, _ := p.read(object + "/" + key); !bytes.Equal([]byte(got), big) {
					t.Errorf("ended at request %d, arrived %v: it reads back differently", at, arrives)
				}
				if text := memory[object+"/"+key]; text != "" {
					t.Errorf("ended at request %d, arrived %v: still remembered: %s", at, arrives, text)
				}
				raw, err := srv.Client()
				must(t, err)
				left, err := raw.ListMultipartUploads(t.Context(), strings.Split(name, "/")[3], "", "", "", "", 10)
				must(t, err)
				if len(left.Uploads) > 0 {
					t.Errorf("ended at request %d, arrived %v: %d uploads were left open", at, arrives, len(left.Uploads))
				}
			}
		}
	})
}

// TestS3UploadThatIsRefusedIsBegunAnew has the service take no request any more of the
// first upload: what would be refused in each round is given up, and what only the keys
// stand in the way of is gone on with.
func TestS3UploadThatIsRefusedIsBegunAnew(t *testing.T) {
	const key, part = "v1/content/pano.tif", 5 << 20
	big := manyBytes(2*part + 12345)
	for _, c := range []struct {
		name, at, code string
		status, parts  int // the parts that are sent in the two rounds
	}{
		{"a part was lost", "completion", "InvalidPart", 400, 6},
		{"it was begun without checksums", "completion", "InvalidRequest", 400, 6},
		{"the whole is another", "completion", "BadDigest", 400, 6},
		{"the keys may not complete it", "completion", "AccessDenied", 403, 3},
		{"the session is over", "completion", "ExpiredToken", 400, 3},
		{"it takes no such parts", "third part", "InvalidRequest", 400, 5},
		{"the space is used up", "third part", "QuotaExceeded", 400, 3},
	} {
		t.Run(c.name, func(t *testing.T) {
			servers(t, func(t *testing.T, srv *s3test.Server) {
				p := s3Place(t, srv, nil)
				name, memory := p.made(t).Name(), uploads{}
				first, parts, refuses := "", 0, true
				put := func() error {
					root, err := s3.Open(t.Context(), s3.Options{
						URL: srv.URL + "/" + strings.SplitN(name, "/", 4)[3], Access: srv.Access, Secret: srv.Secret, Region: srv.Region,
						Fence: true, Part: part, Memory: memory,
						Transport: roundTrips(func(r *http.Request) (*http.Response, error) {
							id, number := r.URL.Query().Get("uploadId"), r.URL.Query().Get("partNumber")
							if first == "" {
								first = id
							}
							completes := r.Method == http.MethodPost && id != ""
							if id == first && refuses && (completes && c.at == "completion" || number == "3" && c.at == "third part") {
								body := "<Error><Code>" + c.code + "</Code><Message>no</Message></Error>"
								return &http.Response{StatusCode: c.status, Header: http.Header{"Content-Type": {"application/xml"}, "Server": {"x"}},
									Body: io.NopCloser(strings.NewReader(body)), ContentLength: int64(len(body)), Request: r}, nil
							}
							if number != "" {
								parts++
							}
							return http.DefaultTransport.RoundTrip(r)
						}),
					})
					must(t, err)
					b, err := root.Begin(t.Context(), object, 1)
					must(t, err)
					_, err = b.Put(t.Context(), key, store.Bytes(big))
					return err
				}
				if err := put(); err == nil {
					t.Fatal("what was refused counts as stored")
				}
				refuses = c.parts > 3 // for ever, or until a person did something
				must(t, put())
				if parts != c.parts {
					t.Errorf("%d parts were sent, want %d", parts, c.parts)
				}
				if got, _ := p.read(object + "/" + key); !bytes.Equal([]byte(got), big) {
					t.Error("it reads back differently")
				}
				if text := memory[object+"/"+key]; text != "" {
					t.Errorf("still remembered: %s", text)
				}
				noneOpen(t, srv, name)
			})
		})
	}
}

func noneOpen(t *testing.T, srv *s3test.Server, name string) {
	t.Helper()
	raw, err := srv.Client()
	must(t, err)
	left, err := raw.ListMultipartUploads(t.Context(), strings.Split(name, "/")[3], "", "", "", "", 10)
	must(t, err)
	if len(left.Uploads) > 0 {
		t.Errorf("%d uploads were left open", len(left.Uploads))
	}
}
