package s3test

import (
	"net/http"
	"path"
	"regexp"
)

// Keeping is Fake for a bucket that lets nothing go: it refuses to delete, and to
// write over any key of a version whose sidecar is there. Mends are refused too.
func Keeping(t TB) *Server {
	t.Helper()
	s := Fake(t)
	s.rules.mu.Lock()
	defer s.rules.mu.Unlock()
	s.rules.keeps = true
	return s
}

// Refused is what a server of Keeping was asked and did not do.
func (s *Server) Refused() []string {
	s.rules.mu.Lock()
	defer s.rules.mu.Unlock()
	return append([]string{}, s.rules.refused...)
}

// versioned is a key of one version of an object, and the folder of that.
var versioned = regexp.MustCompile(`^(.*/v[1-9][0-9]*)/(content/.*|inventory\.json(\.sha256)?)$`)

// takesAway reports whether a request would remove what is there, or replace what
// is committed.
func (h *rules) takesAway(r *http.Request, bucket, key string) bool {
	q := r.URL.Query()
	switch {
	case q.Has("uploadId") && r.Method != http.MethodPost, q.Has("uploads"):
		return false // a part, or the end of an upload that never was
	case r.Method == http.MethodDelete:
		return true
	case q.Has("delete"): // many at once
		return true
	case r.Header.Get("If-None-Match") == "*":
		return false // nothing is written over by that
	}
	m := versioned.FindStringSubmatch(key)
	if m == nil {
		return false
	}
	_, committed := h.get(r.Context(), "/"+path.Join(bucket, m[1], "inventory.json.sha256"))
	_, there := h.get(r.Context(), "/"+path.Join(bucket, key))
	return committed && there
}
