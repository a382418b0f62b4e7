package mirror

import (
	"bytes"
	"crypto/md5"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/xml"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"maps"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"linecamp/manifest"
)

// simBucket is an S3 service in memory with one bucket, spoken to through the
// real S3 client without any network. It knows what a copy needs of S3:
// conditional writes, SHA-256 checked on upload and reported, listings. Anything
// that would delete is noted as a broken promise.
type simBucket struct {
	c *simCopy

	mu      sync.Mutex
	objects map[string]simObject
	shown   map[string]simObject // what listings show while they are old; nil: what there is
	puts    int                  // in this round
	all     int                  // requests in this round
	asked   map[string]int       // how often each request came, in this round
	deleted []string
}

type simObject struct {
	bytes  []byte
	digest manifest.Digest // of the bytes when they were stored, as the service reports it
	etag   string
}

func newObjectOf(b []byte) simObject {
	sum := md5.Sum(b)
	return simObject{bytes: b, digest: manifest.Sum(b), etag: hex.EncodeToString(sum[:])}
}

// begin forgets what the last round did.
func (b *simBucket) begin(stale map[string]simObject) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.puts, b.all, b.asked, b.shown = 0, 0, map[string]int{}, stale
}

func (b *simBucket) listing() map[string]simObject {
	b.mu.Lock()
	defer b.mu.Unlock()
	return maps.Clone(b.objects)
}

var errCable = errors.New("simulated: connection reset by peer")

func (b *simBucket) RoundTrip(req *http.Request) (*http.Response, error) {
	if err := req.Context().Err(); err != nil {
		return nil, err
	}
	key := strings.TrimPrefix(strings.TrimPrefix(req.URL.Path, "/ranch"), "/")
	var body []byte
	if req.Body != nil {
		var err error
		body, err = io.ReadAll(req.Body)
		req.Body.Close()
		if err != nil {
			return nil, err
		}
	}
	write := req.Method == http.MethodPut
	b.mu.Lock()
	if write {
		b.puts++
	}
	b.all++
	puts, all := b.puts, b.all
	what := req.Method + " " + key + "?" + req.URL.RawQuery
	b.asked[what]++
	lot := b.c.trouble.lot(fmt.Sprint(what, b.asked[what]))
	b.mu.Unlock()

	switch trouble := b.c.trouble; {
	case trouble.kind == "down" && puts >= trouble.at:
		return nil, errCable
	case trouble.kind == "denied" && puts >= trouble.at:
		return answer(req, http.StatusForbidden, nil, refusal("AccessDenied")), nil
	case trouble.kind == "revoked" && all > trouble.at: // in the middle of whatever is read or written
		return answer(req, http.StatusForbidden, nil, refusal("InvalidAccessKeyId")), nil
	case trouble.kind == "not handing out content" && req.Method == http.MethodGet && strings.Contains(key, "/content/"):
		return answer(req, http.StatusForbidden, nil, refusal("AccessDenied")), nil
	case write && b.c.ails("put", key):
		return answer(req, http.StatusForbidden, nil, refusal("AccessDenied")), nil
	case trouble.kind == "busy" && lot%3 == 0:
		return answer(req, http.StatusServiceUnavailable, nil, refusal("SlowDown")), nil
	case trouble.kind == "slow":
		wait := 20 * time.Second
		if *concurrent {
			wait = 20 * time.Millisecond // it passes in earnest
		}
		t := time.NewTimer(wait)
		defer t.Stop()
		select {
		case <-req.Context().Done():
			return nil, req.Context().Err()
		case <-t.C:
		}
	}
	last := false
	if write {
		var err error
		if last, err = b.c.s.kill.before(); err != nil {
			return nil, err
		}
	}
	b.mu.Lock()
	resp := b.serve(req, key, body)
	b.mu.Unlock()
	if last {
		return nil, b.c.s.kill.now()
	}
	if b.c.trouble.kind == "lossy" && lot%4 == 0 {
		return nil, errCable // it was done all the same
	}
	return resp, nil
}

// serve answers one request.
func (b *simBucket) serve(req *http.Request, key string, body []byte) *http.Response {
	o, there := b.objects[key]
	switch req.Method {
	case http.MethodGet, http.MethodHead:
		if key == "" {
			return b.list(req)
		}
		if !there {
			return answer(req, http.StatusNotFound, nil, refusal("NoSuchKey"))
		}
		return answer(req, http.StatusOK, &o, o.bytes)
	case http.MethodPut:
		if none := req.Header.Get("If-None-Match"); none == "*" && there {
			return answer(req, http.StatusPreconditionFailed, nil, refusal("PreconditionFailed"))
		}
		if match := strings.Trim(req.Header.Get("If-Match"), `"`); match != "" && (!there || o.etag != match) {
			return answer(req, http.StatusPreconditionFailed, nil, refusal("PreconditionFailed"))
		}
		sum := sha256.Sum256(body)
		if want := req.Header.Get("X-Amz-Checksum-Sha256"); want != base64.StdEncoding.EncodeToString(sum[:]) || int64(len(body)) != req.ContentLength {
			return answer(req, http.StatusBadRequest, nil, refusal("BadDigest"))
		}
		if there && o.digest == manifest.Sum(o.bytes) && o.digest != manifest.Sum(body) && b.committed(key) {
			b.deleted = append(b.deleted, key+" (written over)")
		}
		o := newObjectOf(body)
		b.objects[key] = o
		b.c.dirty.Store(true)
		return answer(req, http.StatusOK, &o, nil)
	case http.MethodDelete:
		b.deleted = append(b.deleted, key)
	}
	return answer(req, http.StatusMethodNotAllowed, nil, refusal("MethodNotAllowed"))
}

// committed reports whether a key is of a version that is committed: nothing may be
// written over it but what mends bytes that rotted.
func (b *simBucket) committed(key string) bool {
	f := strings.SplitN(key, "/", 3)
	if len(f) < 3 || f[0] == "extensions" || !strings.HasPrefix(f[1], "v") {
		return false
	}
	inv, side := b.objects[f[0]+"/"+f[1]+"/inventory.json"], b.objects[f[0]+"/"+f[1]+"/inventory.json.sha256"]
	return side.bytes != nil && strings.HasPrefix(string(side.bytes), manifest.Sum(inv.bytes).String()+" ")
}

type listResult struct {
	XMLName        xml.Name    `xml:"ListBucketResult"`
	Contents       []listEntry `xml:"Contents"`
	CommonPrefixes []struct {
		Prefix string
	} `xml:"CommonPrefixes"`
	IsTruncated bool
}

type listEntry struct {
	Key, LastModified, ETag string
	Size                    int
}

func (b *simBucket) list(req *http.Request) *http.Response {
	prefix, delimiter := req.URL.Query().Get("prefix"), req.URL.Query().Get("delimiter")
	from := b.objects
	if b.shown != nil {
		from = b.shown
	}
	var out listResult
	folder := ""
	for _, key := range slices.Sorted(maps.Keys(from)) {
		rest, ok := strings.CutPrefix(key, prefix)
		if !ok {
			continue
		}
		if i := strings.Index(rest, "/"); delimiter == "/" && i >= 0 {
			if f := prefix + rest[:i+1]; f != folder {
				folder = f
				out.CommonPrefixes = append(out.CommonPrefixes, struct{ Prefix string }{f})
			}
			continue
		}
		o := from[key]
		out.Contents = append(out.Contents, listEntry{key, "2026-01-01T00:00:00.000Z", `"` + o.etag + `"`, len(o.bytes)})
	}
	text, err := xml.Marshal(out)
	if err != nil {
		panic(err)
	}
	return answer(req, http.StatusOK, nil, text)
}

func refusal(code string) []byte { return []byte("<Error><Code>" + code + "</Code></Error>") }

func answer(req *http.Request, status int, o *simObject, body []byte) *http.Response {
	h := http.Header{"X-Amz-Request-Id": {"sim"}, "Content-Type": {"application/xml"}, "Last-Modified": {"Thu, 01 Jan 2026 00:00:00 GMT"}}
	size := int64(len(body))
	if o != nil {
		h.Set("ETag", `"`+o.etag+`"`)
		h.Set("X-Amz-Checksum-Sha256", base64.StdEncoding.EncodeToString(o.digest[:]))
		h.Set("X-Amz-Checksum-Type", "FULL_OBJECT")
		h.Set("Content-Type", "application/octet-stream")
	}
	h.Set("Content-Length", fmt.Sprint(size))
	if req.Method == http.MethodHead {
		body = nil
	}
	return &http.Response{Status: http.StatusText(status), StatusCode: status, Proto: "HTTP/1.1", ProtoMajor: 1, ProtoMinor: 1,
		Header: h, Body: io.NopCloser(bytes.NewReader(body)), ContentLength: size, Request: req}
}

// trouble is what ails one copy during a round.
type trouble struct {
	kind string
	at   int // from this write on
	salt uint64
}

// lot decides by chance about one request or operation, the same whenever it
// comes.
func (t trouble) lot(what string) uint64 {
	h := fnv.New64a()
	fmt.Fprint(h, t.salt, what)
	return h.Sum64()
}
