package s3test

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"sync"
)

// rules is the layer that makes gofakes3 keep the promises it does not know.
type rules struct {
	next   http.Handler
	folder string // where objects are kept as files; "" nowhere
	keeps  bool   // see Keeping

	refused []string

	mu sync.Mutex // writes happen one after the other, so that a look and a write are one step
}

func (h *rules) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	bucket, key, _ := strings.Cut(strings.TrimPrefix(r.URL.Path, "/"), "/")
	switch {
	case r.Method == http.MethodPut && isCopy(r):
	case r.Method == http.MethodPut && key != "":
		if !checkBody(w, r) {
			return
		}
		forget(r)
	case r.Method == http.MethodPost && q.Has("uploads"):
		forget(r)
	case r.Method == http.MethodPost && (q.Has("uploadId") || q.Has("delete")), r.Method == http.MethodDelete, r.Method == http.MethodPut:
	default:
		h.next.ServeHTTP(w, r)
		return
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if (r.Method == http.MethodPost || isCopy(r)) && !h.condition(w, r) {
		return
	}
	if h.keeps && h.takesAway(r, bucket, key) {
		h.refused = append(h.refused, r.Method+" "+r.URL.RequestURI())
		fail(w, http.StatusForbidden, "AccessDenied", "nothing that is kept here is removed or replaced")
		return
	}
	rec := newRecorder()
	h.next.ServeHTTP(rec, r)
	if rec.status < 300 {
		if sum := r.Header.Get("X-Amz-Checksum-Sha256"); sum != "" {
			rec.header.Set("X-Amz-Checksum-Sha256", sum)
		}
		if err := h.keep(r, bucket, key); err != nil {
			fail(w, http.StatusInternalServerError, "InternalError", err.Error())
			return
		}
	}
	rec.copyTo(w)
}

// checkBody refuses a body that is not what its headers say.
// Sources: docs.aws.amazon.com/AmazonS3/latest/API/API_PutObject.html (checksum
// headers: 400 BadDigest) and .../sig-v4-header-based-auth.html
// (x-amz-content-sha256: 400 XAmzContentSHA256Mismatch).
func checkBody(w http.ResponseWriter, r *http.Request) bool {
	signed, sum := r.Header.Get("X-Amz-Content-Sha256"), r.Header.Get("X-Amz-Checksum-Sha256")
	if len(signed) != hex.EncodedLen(sha256.Size) && sum == "" {
		return true // signed in chunks, or not at all: passed through
	}
	body, err := drain(r.Body)
	if err != nil || int64(len(body)) != r.ContentLength && r.ContentLength >= 0 {
		fail(w, http.StatusBadRequest, "IncompleteBody", "the body ended early")
		return false
	}
	is := sha256.Sum256(body)
	if len(signed) == hex.EncodedLen(sha256.Size) && signed != hex.EncodeToString(is[:]) {
		fail(w, http.StatusBadRequest, "XAmzContentSHA256Mismatch", "the body does not match x-amz-content-sha256")
		return false
	}
	if sum != "" && sum != base64.StdEncoding.EncodeToString(is[:]) {
		fail(w, http.StatusBadRequest, "BadDigest", "the body does not match x-amz-checksum-sha256")
		return false
	}
	r.Body = readCloser{bytes.NewReader(body)}
	return true
}

// forget keeps gofakes3 from carrying the metadata of an overwritten object over
// to the new one, whose bytes its checksum would not fit.
func forget(r *http.Request) {
	for _, name := range []string{"X-Amz-Checksum-Sha256", "X-Amz-Meta-Sha256"} {
		if r.Header.Get(name) == "" {
			r.Header.Set(name, "")
		}
	}
}

type readCloser struct{ *bytes.Reader }

func (readCloser) Close() error { return nil }

// isCopy reports whether a PUT takes its bytes from another key.
func isCopy(r *http.Request) bool { return r.Header.Get("X-Amz-Copy-Source") != "" }

// condition applies If-None-Match and If-Match to the completion of a multipart
// upload, and to a copy. Sources: docs.aws.amazon.com/AmazonS3/latest/API/API_CompleteMultipartUpload.html
// and API_CopyObject.html there.
func (h *rules) condition(w http.ResponseWriter, r *http.Request) bool {
	none, match := r.Header.Get("If-None-Match"), r.Header.Get("If-Match")
	if none == "" && match == "" {
		return true
	}
	rec := newRecorder()
	head := r.Clone(r.Context())
	head.Method, head.Body, head.Header = http.MethodHead, http.NoBody, http.Header{}
	head.URL = &url.URL{Path: r.URL.Path}
	h.next.ServeHTTP(rec, head)
	there := rec.status == http.StatusOK
	if none == "*" && there || match != "" && (!there || rec.header.Get("ETag") != match) {
		fail(w, http.StatusPreconditionFailed, "PreconditionFailed", "the condition does not hold")
		return false
	}
	return true
}

func fail(w http.ResponseWriter, status int, code, message string) {
	w.Header().Set("Content-Type", "application/xml")
	w.WriteHeader(status)
	fmt.Fprintf(w, "<Error><Code>%s</Code><Message>%s</Message></Error>", code, message)
}

// recorder holds a response until it is known that it may be sent.
type recorder struct {
	header http.Header
	status int
	body   bytes.Buffer
}

func newRecorder() *recorder { return &recorder{header: http.Header{}, status: http.StatusOK} }

func (r *recorder) Header() http.Header         { return r.header }
func (r *recorder) WriteHeader(status int)      { r.status = status }
func (r *recorder) Write(b []byte) (int, error) { return r.body.Write(b) }

func (r *recorder) copyTo(w http.ResponseWriter) {
	for k, v := range r.header {
		w.Header()[k] = v
	}
	w.WriteHeader(r.status)
	w.Write(r.body.Bytes())
}

type urlPath struct{ path string }

func (u *urlPath) String() string { return (&url.URL{Path: u.path}).EscapedPath() }
