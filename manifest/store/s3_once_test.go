package store_test

import (
	"bytes"
	"encoding/pem"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
	"linecamp/manifest/store/s3test/link"
)

// TestS3SendsAnInventoryOnce has the service copy a long inventory to the top of its
// object; where it cannot, or something else is there, the bytes are sent.
func TestS3SendsAnInventoryOnce(t *testing.T) {
	for _, c := range []struct {
		name   string
		rule   link.Rule // for a copy
		copied bool
	}{
		{"copied", nil, true},
		{"refused", func(w http.ResponseWriter, r *http.Request, next http.Handler) {
			link.Refuse(w, http.StatusNotImplemented, "NotImplemented")
		}, false},
		// Source: docs.aws.amazon.com/AmazonS3/latest/API/API_CopyObject.html: "a 200 OK
		// response can contain either a success or an error".
		{"refused in a good answer", func(w http.ResponseWriter, r *http.Request, next http.Handler) {
			link.Refuse(w, http.StatusOK, "InternalError")
		}, false},
		{"answer lost", func(w http.ResponseWriter, r *http.Request, next http.Handler) { link.Lose(r, next) }, false},
		{"tag is not of the bytes", func(w http.ResponseWriter, r *http.Request, next http.Handler) {
			next.ServeHTTP(httptest.NewRecorder(), r)
			w.Header().Set("Content-Type", "application/xml")
			fmt.Fprint(w, `<CopyObjectResult><ETag>"0123"</ETag></CopyObjectResult>`)
		}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			servers(t, func(t *testing.T, srv *s3test.Server) {
				l := link.New(t, srv)
				p := s3Place(t, l.Server(), nil)
				r, s := p.made(t), newSite()
				files := map[string]string{}
				for i := range 60 {
					files[fmt.Sprintf("2019-06-21/plot %d.jpg", i)] = fmt.Sprint("picture ", i)
				}
				var sent atomic.Int64
				l.Answer(func(w http.ResponseWriter, r *http.Request, next http.Handler) {
					copies := r.Header.Get("X-Amz-Copy-Source") != ""
					if r.Method == http.MethodPut && strings.HasSuffix(r.URL.Path, "/inventory.json") {
						sent.Add(max(r.ContentLength, 0))
					}
					if copies && c.rule != nil {
						c.rule(w, r, next)
						return
					}
					next.ServeHTTP(w, r)
				})
				for version := range 2 {
					files[fmt.Sprintf("2020-06-21/notes %d.txt", version)] = fmt.Sprint("notes ", version)
					sent.Store(0)
					draft := s.next(t, nil, files)
					s.store(t, r, draft)
					if once := sent.Load() == int64(len(draft.Encoded)); once != c.copied {
						t.Errorf("version %d: %d bytes were sent of an inventory of %d", version+1, sent.Load(), len(draft.Encoded))
					}
					if top, _ := p.read(object + "/inventory.json"); !bytes.Equal(top, draft.Encoded) {
						t.Errorf("version %d: another inventory is at the top", version+1)
					}
					info, err := r.Stat(t.Context(), object+"/inventory.json")
					must(t, err)
					if info.Claimed != manifest.Sum(draft.Encoded) {
						t.Errorf("version %d: its digest is not beside it", version+1)
					}
				}
				l.Answer(nil)
				s.intact(t, r)
			})
		})
	}
}

// TestS3CopyLeavesWhatIsThere: a copy obeys the condition of the write it stands for,
// where the service does.
func TestS3CopyLeavesWhatIsThere(t *testing.T) {
	l := link.New(t, s3test.Fake(t))
	p := s3Place(t, l.Server(), nil)
	r, s := p.made(t), newSite()
	files := map[string]string{}
	for i := range 60 {
		files[fmt.Sprintf("2019-06-21/plot %d.jpg", i)] = fmt.Sprint("picture ", i)
	}
	s.store(t, r, s.next(t, nil, files))
	files["2020-06-21/notes.txt"] = "notes"
	last := ""
	l.Answer(func(w http.ResponseWriter, r *http.Request, next http.Handler) {
		if r.Header.Get("X-Amz-Copy-Source") != "" { // another machine writes before each copy, after each look
			last += "another one's"
			p.write(object+"/inventory.json", []byte(last))
		}
		next.ServeHTTP(w, r)
	})
	wantErr(t, s.tryStore(t.Context(), r, s.next(t, nil, files)), store.ErrConflict)
	if top, _ := p.read(object + "/inventory.json"); last == "" || string(top) != last {
		t.Errorf("it was written over: %q", top)
	}
}

// TestS3GoesOnWithASession: a second bucket of the same service, and each further
// connection, is not sent the service's certificates again.
func TestS3GoesOnWithASession(t *testing.T) {
	var mu sync.Mutex
	var resumed []bool
	front := httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		mu.Lock()
		resumed = append(resumed, r.TLS.DidResume)
		mu.Unlock()
		w.Header().Set("Connection", "close")
		w.Header().Set("Content-Type", "application/xml")
		w.WriteHeader(http.StatusNotFound)
		io.WriteString(w, "<Error><Code>NoSuchKey</Code></Error>")
	}))
	defer front.Close()
	ca := filepath.Join(t.TempDir(), "ca.pem")
	must(t, os.WriteFile(ca, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: front.Certificate().Raw}), 0o600))
	for range 3 {
		root, err := s3.Open(t.Context(), s3.Options{URL: front.URL + "/monitoring", Region: "us-east-1", Access: "a", Secret: "b", CAFile: ca})
		must(t, err)
		if _, _, err := store.ReadSmall(t.Context(), root, "x", 10); err == nil {
			t.Fatal("it has what is not there")
		}
	}
	mu.Lock()
	defer mu.Unlock()
	if len(resumed) != 3 || resumed[0] || !resumed[1] || !resumed[2] {
		t.Errorf("connections that went on with a session: %v", resumed)
	}
}

// TestS3BeginsWithOneRequest: one listing tells that the version before is there, and what
// a try left of the next, and names nothing else. For each tenth, whose name does not come
// next to the ninth's, it takes two.
func TestS3BeginsWithOneRequest(t *testing.T) {
	servers(t, func(t *testing.T, srv *s3test.Server) {
		asked, named := 0, 0
		p := s3Place(t, srv, func(o *s3.Options) {
			o.Transport = roundTrips(func(r *http.Request) (*http.Response, error) {
				asked++
				resp, err := http.DefaultTransport.RoundTrip(r)
				if err == nil && r.URL.Query().Has("list-type") {
					body, err := io.ReadAll(resp.Body)
					resp.Body.Close()
					named += bytes.Count(body, []byte("<Key>"))
					resp.Body = io.NopCloser(bytes.NewReader(body))
					return resp, err
				}
				return resp, err
			})
		})
		r, s := p.made(t), newSite()
		for n := 1; n <= 21; n++ {
			asked, named = 0, 0
			b, err := r.Begin(t.Context(), object, n)
			must(t, err)
			if named > 1 || asked != 1 && (n%10 != 0 || asked != 2) {
				t.Errorf("version %d began with %d requests and %d keys", n, asked, named)
			}
			left := fmt.Sprintf("v%d/content/notes.txt", n)
			_, err = b.Put(t.Context(), left, store.Bytes([]byte(fmt.Sprint("notes ", n))))
			must(t, err)
			for _, later := range []int{n + 1, n + 9, 10*n + 1} {
				_, err := r.Begin(t.Context(), object, later)
				wantErr(t, err, store.ErrConflict)
			}
			b, err = r.Begin(t.Context(), object, n)
			must(t, err)
			if found := b.Found(); len(found) != 1 || found[left].SHA256.IsZero() {
				t.Errorf("version %d: %v was found", n, found)
			}
			s.store(t, r, s.next(t, b.Found(), map[string]string{"notes.txt": fmt.Sprint("notes ", n)}))
			for _, earlier := range []int{1, max(1, n-1), n} {
				_, err := r.Begin(t.Context(), object, earlier)
				wantErr(t, err, store.ErrConflict)
			}
		}
	})
}
